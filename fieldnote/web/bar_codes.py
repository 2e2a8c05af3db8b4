"""The VIN by bar code: from a photo of the label on the door pillar or behind the windshield; or typed.

Labels carry it as Code 39 or Code 128, newer ones as Data Matrix or QR code. Some Code 39 labels put an "I" before the
17 characters: import, and no part of the VIN (common practice; the rule of 49 CFR 565 knows no such character, and "I"
never occurs in a VIN).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import UploadFile

from fieldnote.errors import FieldnoteError, UserMistake
from fieldnote.extract.vin_rules import LENGTH, check_digit, model_year
from fieldnote.flow import amend
from fieldnote.records import Intake, Job
from fieldnote.web.asking import OnPage, Page, Sent, text_of
from fieldnote.web.pictures import codes_in
from fieldnote.web.roles import needs

router = APIRouter(prefix="/jobs/{job_id}/vin")
_CANDIDATE = re.compile(r"(?<![A-Z0-9])I?([A-HJ-NPR-Z0-9]{17})(?![A-Z0-9])")
_PARTS = (3, 6, 10, 14)
"""Where a VIN is parted for reading: maker, description, check digit with year and plant, serial number."""


@dataclass(frozen=True, slots=True)
class Read:
    """A VIN that was read. ``holds``: its check digit is right; ``digit``: the one that would be."""

    vin: str
    source: str
    holds: bool
    digit: str
    year: int | None

    @property
    def shown(self) -> tuple[str, ...]:
        """In groups that can be compared with the label."""
        return parted(self.vin)


def parted(vin: str) -> tuple[str, ...]:
    """A VIN in groups for reading; as it is where it is no whole one."""
    if len(vin) != LENGTH:
        return (vin,)
    cuts = (0, *_PARTS, LENGTH)
    return tuple(vin[a:b] for a, b in pairwise(cuts))


def vins_of(codes: Iterable[tuple[str, str]]) -> tuple[Read, ...]:
    """The VINs in what bar codes say, those with the right check digit first; each once."""
    found: dict[str, Read] = {}
    for kind, text in codes:
        for match in _CANDIDATE.finditer(text.upper().strip(" *\r\n\t")):
            found.setdefault(match[1], judged(match[1], kind))
    return tuple(sorted(found.values(), key=lambda read: not read.holds))


def judged(vin: str, source: str) -> Read:
    """A VIN with what its check digit says (49 CFR 565.15; makers elsewhere may use the place for something else)."""
    digit = check_digit(vin)
    return Read(vin, source, digit is not None and digit == vin[8:9], digit or "", model_year(vin))


@router.get("")
def show(page: OnPage, job_id: str) -> HTMLResponse:
    """The VIN as it is known, a field to type it, and the camera for its bar code."""
    return _page(page, page.job(job_id))


def _page(
    page: Page,
    job: Job,
    reads: Sequence[Read] = (),
    *,
    typed: str = "",
    looked: bool = False,
    error: FieldnoteError | None = None,
) -> HTMLResponse:
    known = job.intake.vin or next((str(e.value) for e in job.entries if e.kind == "fact" and e.what == "vin"), "")
    return page.render(
        "vin.html.j2",
        422 if error or (looked and not reads) else 200,
        job=job,
        known=judged(known, "") if known else None,
        reads=reads,
        typed=typed,
        looked=looked,
        error=error,
    )


@router.post("/photos", dependencies=[needs("dictate")])
def look(page: OnPage, job_id: str, form: Sent) -> HTMLResponse:
    """Read the bar code in a photo; what was read is shown first, and kept with the next touch. The photo is not."""
    job = page.job(job_id)
    sent = form.get("photo")
    try:
        if not isinstance(sent, UploadFile) or not sent.filename:
            raise UserMistake("no photo was chosen", where="photo", do="Take a picture of the bar code, then send it.")
        reads = vins_of(codes_in(sent.file))
    except FieldnoteError as error:
        return _page(page, job, error=error)
    return _page(page, job, reads, looked=True)


@router.post("", dependencies=[needs("correct")])
def keep(page: OnPage, job_id: str, form: Sent) -> Response:
    """Keep a VIN; a typed one whose check digit is wrong is shown once more before it is kept."""
    job = page.job(job_id)
    vin = re.sub(r"[\s-]", "", text_of(form, "vin")).upper()[:40]
    rooms = page.house.of(job)
    read = judged(vin, "typed")
    if not vin or (not read.holds and text_of(form, "sure") != vin):
        error = None if vin else UserMistake("no VIN was given", where="VIN", do="Type its 17 characters.")
        return _page(page, job, (read,) if vin else (), typed=vin, error=error)
    made = amend(rooms.store, job, Intake(vin=vin), page.who)
    return page.to(f"/jobs/{job.id}/bay?changed={made[0].id}" if made else f"/jobs/{job.id}/bay")


__all__ = ["judged", "parted", "router", "vins_of"]
