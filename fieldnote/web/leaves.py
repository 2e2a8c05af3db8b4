"""Leaves to print: handing a job over, and the field guide: whole documents with a style sheet of their own."""

from __future__ import annotations

import base64
import hashlib
import re

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from fieldnote.errors import Clash, NotFound
from fieldnote.flow.confirming import accept_handover, acceptances, leaf_hash
from fieldnote.flow.guiding import guide
from fieldnote.narrate import handover
from fieldnote.narrate.formats import document_as
from fieldnote.narrate.guide_page import guide_html
from fieldnote.narrate.sketch import load_sketch
from fieldnote.web.asking import OnPage, Sent, text_of
from fieldnote.web.bay import advice_of
from fieldnote.web.documents import file_name
from fieldnote.web.roles import needs
from fieldnote.web.write_ups import map_of

router = APIRouter()
_STYLE = re.compile(r"<style>(.*?)</style>", re.DOTALL)


@router.get("/jobs/{job_id}/handover")
def hand_over(page: OnPage, job_id: str) -> HTMLResponse:
    """Where the job stands, for the colleague who takes over: what it takes a minute to say."""
    job = page.job(job_id)
    rooms = page.house.of(job)
    leaf = handover(job, rooms.pack, advice_of(rooms, job))
    return page.render("handover.html.j2", job=job, leaf=leaf, hash=leaf_hash(leaf.text), accepted=acceptances(job))


@router.post("/jobs/{job_id}/handover", dependencies=[needs("dictate")])
def accept(page: OnPage, job_id: str, form: Sent) -> Response:
    """Take the job over as the leaf described it that was on the page.

    Raises:
        Clash: the job changed while the leaf was being read.

    """
    job = page.job(job_id)
    rooms = page.house.of(job)
    leaf = handover(job, rooms.pack, advice_of(rooms, job))
    if text_of(form, "hash") != leaf_hash(leaf.text):
        raise Clash("the job changed while you were reading", where=job.name, do="Read the leaf again, then take over.")
    accept_handover(rooms.store, job, leaf.text, page.who)
    return page.to(f"/jobs/{job.id}/handover")


@router.get("/jobs/{job_id}/handover/leaf")
def hand_over_leaf(page: OnPage, job_id: str) -> HTMLResponse:
    """The same as a leaf to print."""
    job = page.job(job_id)
    rooms = page.house.of(job)
    return document(document_as(handover(job, rooms.pack, advice_of(rooms, job)).document(), "html").decode())


@router.get("/jobs/{job_id}/handover/leaf.pdf")
def hand_over_pdf(page: OnPage, job_id: str) -> Response:
    """The same as PDF."""
    job = page.job(job_id)
    rooms = page.house.of(job)
    data = document_as(handover(job, rooms.pack, advice_of(rooms, job)).document(), "pdf")
    named = f'inline; filename="{file_name(job.name)}-handover.pdf"'
    return Response(data, media_type="application/pdf", headers={"content-disposition": named})


@router.get("/guide")
def guide_places(page: OnPage) -> HTMLResponse:
    """The places at which water shows, each with its leaf."""
    leaves, taught = guide(page.house.rooms)
    return page.render("guide.html.j2", leaves=sorted(leaves, key=lambda leaf: leaf.title.lower()), taught=taught)


@router.get("/guide/{place}")
def guide_leaf(page: OnPage, place: str) -> HTMLResponse:
    """One leaf of the field guide; ``all`` gives every one.

    Raises:
        NotFound: the map shows no water at this place.

    """
    rooms = page.house.rooms
    if map_of(rooms) is None:
        raise NotFound("this vocabulary has no leak map", where=rooms.pack.name, do="Use another vocabulary.")
    leaves, taught = guide(rooms, () if place == "all" else (place,))
    return document(guide_html(leaves, load_sketch(rooms.pack), taught=taught))


def document(html: str) -> HTMLResponse:
    """A whole document as a page. Its one style sheet is let in by its hash (CSP Level 3), and nothing else is."""
    found = _STYLE.findall(html)
    hashes = [base64.b64encode(hashlib.sha256(style.encode()).digest()).decode() for style in found]
    allowed = " ".join(f"'sha256-{digest}'" for digest in hashes) or "'none'"
    policy = f"default-src 'none'; style-src {allowed}; font-src data:; base-uri 'none'; frame-ancestors 'none'"
    return HTMLResponse(html, headers={"content-security-policy": f"{policy}; form-action 'none'"})


__all__ = ["document", "router"]
