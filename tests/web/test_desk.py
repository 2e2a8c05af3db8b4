"""The desk: the list, the write-up beside its entries, corrections, and two people at one entry."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from fieldnote.flow import write_up
from tests.web.conftest import House

EntryWhere = Callable[..., str]


def form_of(house: House, path: str) -> dict[str, str]:
    """The fields of an entry's form as a browser would send them untouched."""
    text = house.client.get(path).text
    form = text.split(f'action="{path}"')[1].split("</form>")[0]
    fields: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        kind = re.search(r'type="([^"]*)"', tag)
        if name and (kind is None or kind[1] != "radio" or "checked" in tag):
            fields[name[1]] = value[1] if value else ""
    for name, options in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options)
        fields[name] = chosen[1] if chosen else ""
    return fields


def story_of(house: House) -> str:
    job = house.job()
    story = write_up(house.rooms.store, job, house.rooms.pack)
    return " ".join(s.text for p in story.paragraphs for s in p.sentences)


def test_the_list_tells_state_and_what_is_missing(still: House) -> None:
    """Open jobs with how far they are and what they lack; closed ones on request."""
    text = still.client.get("/").text
    assert "Unit 9" in text and "Unit 7" in text and "Unit 8" not in text
    assert "draft" in text and "nothing recorded" in text
    assert "No VIN, no odometer" in text
    assert "No order number, no VIN, no odometer" in text
    assert "Unit 8" in still.client.get("/?state=closed").text


@pytest.mark.parametrize(
    ("asked", "there"),
    [
        ({"lacks": "order-number"}, ["Unit 7"]),
        ({"lacks": "vin"}, ["Unit 9", "Unit 7"]),
        ({"lacks": "vin", "state": "all"}, ["Unit 9", "Unit 8", "Unit 7"]),
        ({"lacks": "correction"}, ["Unit 7"]),
        ({"lacks": "anything", "q": "soaked"}, ["Unit 9"]),
        ({"lacks": "order-number", "q": "soaked"}, []),
        ({"answer": "no payer"}, ["Unit 9", "Unit 7"]),
        ({"answer": "paid"}, []),
        ({"lacks": "moon", "answer": "moon"}, ["Unit 9", "Unit 7"]),
    ],
    ids=str,
)
def test_the_list_is_narrowed_down_by_what_is_missing(still: House, asked: dict[str, str], there: list[str]) -> None:
    """By one thing or anything, by the payer's answer, together with words and state; what cannot be is passed over."""
    text = still.client.get("/", params=asked).text
    assert re.findall(r'<th scope="row"><a href="[^"]*">([^<]*)</a>', text) == there


def test_the_list_tells_how_the_claim_stands(house: House) -> None:
    """Who pays and what they answered, and those returned alone on request."""
    house.send(f"/jobs/{house.job().id}/claim", payer="insurer")
    answer = {"outcome": "returned", "outcome_day": "2026-11-20", "outcome_reason": "no photos"}
    house.send(f"/jobs/{house.job().id}/claim/answer", **answer)
    text = house.client.get("/?answer=returned").text
    assert "An insurer, returned 2026-11-20: no photos" in text and "Unit 7" not in text


@pytest.mark.parametrize(
    ("query", "there"),
    [
        ("soaked", True),
        ("W-71", True),
        ("submarine", False),
        ('"', True),
        ("* OR (", False),
        ("soaked\0", True),
        ('"\0"', True),
    ],
)
def test_jobs_are_found_by_words(still: House, query: str, there: bool) -> None:
    """Words said and order numbers find a job; signs of a search language are plain text."""
    answer = still.client.get("/", params={"q": query})
    assert answer.status_code == 200
    assert ("Unit 9" in answer.text) is there


def test_a_job_is_opened_with_what_is_known(house: House) -> None:
    """One name is enough; answers given are kept."""
    answer = house.send("/new", name="Unit 12", odometer="62,305 mi", liquid=["rain"], then="bay")
    job = house.job("Unit 12")
    assert answer.headers["location"] == f"/jobs/{job.id}/bay"  # type: ignore[attr-defined]
    assert (job.intake.odometer, job.intake.odometer_unit) == (62305.0, "mi")
    assert job.intake.conditions.liquid == ("rain",)


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"name": ""}, "a job needs a name"),
        ({"name": "unit 9"}, "a job of this name is there already"),
        ({"name": "Unit 12", "odometer": "many"}, "is not a reading"),
        ({"name": "Unit 12", "model_year": "new"}, "is not a model year"),
        ({"name": "Unit 12", "build_month": "May"}, "is not a month"),
        ({"name": "Unit 12", "liquid": "lava"}, "is not a choice here"),
    ],
    ids=lambda v: str(v),
)
def test_a_wrong_answer_keeps_what_was_typed(still: House, fields: dict[str, str], told: str) -> None:
    """The form comes back with the fault and with everything that was typed."""
    answer = still.send("/new", complaint="water under the seat", **fields)
    assert answer.status_code in (409, 422)  # type: ignore[attr-defined]
    assert told in answer.text  # type: ignore[attr-defined]
    assert "water under the seat" in answer.text  # type: ignore[attr-defined]
    assert len(still.rooms.store.jobs()) == 3


def test_every_sentence_names_its_entries(still: House) -> None:
    """Sentences carry the ids of the entries that they rest on, and each of those stands on the page."""
    text = still.client.get(f"/jobs/{still.job().id}").text
    named = {id for ids in re.findall(r'data-entries="([^"]*)"', text) for id in ids.split()}
    shown = set(re.findall(r'data-entry="([^"]*)"', text))
    assert {id for id in named if not id.startswith("intake.")} <= shown
    assert {entry.id for entry in still.job().entries} == shown


def test_correcting_a_side_changes_the_sentence(house: House, entry_where: EntryWhere) -> None:
    """The write-up follows the entry; the change is kept with who, before and after, and can be taken back."""
    path = f"/jobs/{house.job().id}/entries/{entry_where(part='carpet')}"
    assert "right side of the rear floor" in story_of(house)
    house.send("/who", who="Bo", back="/")
    answer = house.client.post(path, data={**form_of(house, path), "side": "left"}, follow_redirects=False)
    assert answer.status_code == 303
    assert "left side of the rear floor" in house.client.get(answer.headers["location"]).text
    edit = house.job().edits[-1]
    assert (edit.person, edit.field, edit.before, edit.after) == ("Bo", "side", "right", "left")
    log = house.client.get(f"/jobs/{house.job().id}/changes").text
    assert re.search(r"Bo.*side.*right.*left", log, re.DOTALL)
    house.send(f"/jobs/{house.job().id}/changes/{edit.id}/take-back")
    assert "right side of the rear floor" in story_of(house)
    assert [e.action for e in house.job().edits] == ["set", "undo"]
    undone = house.job().edits[-1]
    house.send(f"/jobs/{house.job().id}/changes/{undone.id}/take-back")
    assert "left side of the rear floor" in story_of(house)


def test_an_untouched_form_changes_nothing(house: House) -> None:
    """Keeping a form as it was drawn makes no change, whatever the kind of entry."""
    job = house.job()
    for entry in job.entries:
        path = f"/jobs/{job.id}/entries/{entry.id}"
        assert house.client.post(path, data=form_of(house, path), follow_redirects=False).status_code == 303
    assert house.job().edits == ()


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("side", "starboard", "cannot stand here"),
        ("place", "moon", "is not in the vocabulary"),
        ("quantities", "a lot", "is not a measured value"),
        ("state", "soaked", "is not in the vocabulary"),
        ("quantities", "duration 5 lb", "is not measured in"),
    ],
)
def test_a_value_that_cannot_be_is_refused(
    house: House, entry_where: EntryWhere, field: str, value: str, told: str
) -> None:
    """The form comes back with the fault beside what was typed; the entry stays as it was."""
    entry = entry_where(kind="test", state="leak")
    path = f"/jobs/{house.job().id}/entries/{entry}"
    answer = house.client.post(path, data={**form_of(house, path), field: value})
    assert answer.status_code == 422
    assert told in answer.text
    assert house.job().edits == ()


def test_two_people_at_one_entry(house: House, entry_where: EntryWhere) -> None:
    """The second is told who changed what, nothing is written over, and keeping it again is a choice."""
    path = f"/jobs/{house.job().id}/entries/{entry_where(part='carpet')}"
    first, second = form_of(house, path), form_of(house, path)
    house.send("/who", who="Bo", back="/")
    house.client.post(path, data={**first, "side": "left", "certainty": "unsure"})
    house.send("/who", who="Cy", back="/")
    answer = house.client.post(path, data={**second, "side": "both"})
    assert answer.status_code == 409
    assert "Bo changed this entry while you had it open" in answer.text
    entry = next(e for e in house.job().entries if e.part == "carpet")
    assert (entry.side, entry.certainty) == ("left", "unsure")
    again = {**form_of_text(answer.text, path)}
    assert again["side"] == "both" and again["certainty"] == "unsure"
    assert house.client.post(path, data=again, follow_redirects=False).status_code == 303
    entry = next(e for e in house.job().entries if e.part == "carpet")
    assert (entry.side, entry.certainty) == ("both", "unsure")
    assert [e.person for e in house.job().edits] == ["Bo", "Bo", "Cy"]


def form_of_text(text: str, path: str) -> dict[str, str]:
    class Page:
        def __init__(self) -> None:
            self.client = self
            self.text = text

        def get(self, _: str) -> Page:
            return self

    return form_of(Page(), path)  # type: ignore[arg-type]


def test_an_entry_taken_out_meanwhile_is_told(house: House, entry_where: EntryWhere) -> None:
    """Who took it out is named, and the change that came too late is not made."""
    path = f"/jobs/{house.job().id}/entries/{entry_where(part='carpet')}"
    form = form_of(house, path)
    house.send("/who", who="Bo", back="/")
    house.client.post(f"{path}/remove", data=form)
    answer = house.client.post(path, data={**form, "side": "left"})
    assert answer.status_code == 404
    assert "Bo took this entry out" in answer.text
    assert [e.action for e in house.job().edits] == ["remove"]


def test_taking_out_what_someone_changed_is_held(house: House, entry_where: EntryWhere) -> None:
    """An entry that is no longer what one saw is not taken out."""
    path = f"/jobs/{house.job().id}/entries/{entry_where(part='carpet')}"
    form = form_of(house, path)
    house.client.post(path, data={**form, "side": "left"})
    assert house.client.post(f"{path}/remove", data=form).status_code == 409
    assert any(e.part == "carpet" for e in house.job().entries)


def test_one_touch_fixes_a_side(house: House, entry_where: EntryWhere) -> None:
    """In the bay a side is one button; a stale page is told, and nothing is done twice."""
    entry = entry_where(kind="repair")
    page = house.client.get(f"/jobs/{house.job().id}/bay").text
    seen = re.search(rf'entries/{entry}/side".*?name="seen" value="(\w+)"', page, re.DOTALL)
    assert seen is not None
    path = f"/jobs/{house.job().id}/entries/{entry}/side"
    answer = house.send(path, side="left", seen=seen[1])
    assert answer.status_code == 303  # type: ignore[attr-defined]
    assert next(e for e in house.job().entries if e.id == entry).side == "left"
    assert house.send(path, side="right", seen=seen[1]).status_code == 422  # type: ignore[attr-defined]
    assert next(e for e in house.job().entries if e.id == entry).side == "left"
    told = house.client.get(answer.headers["location"]).text  # type: ignore[attr-defined]
    assert "side: right → left" in told.lower()


def test_the_bay_shows_last_entries_next_checks_and_cautions(still: House) -> None:
    """Newest first, doubt marked, checks with reasons, the maker's procedure named."""
    text = still.client.get(f"/jobs/{still.job().id}/bay?all=true").text
    assert text.index("for 10 minutes") < text.index("replaced")
    assert "said with doubt" in text
    assert "Check next" in text and "procedure" in text
    assert re.search(r"Look at|test", text)


def test_typed_words_become_entries(house: House) -> None:
    """What is written is understood as if it had been spoken, and names who wrote it."""
    house.send(f"/jobs/{house.job().id}/lines", text="The left cowl drain is plugged.")
    entry = house.job().entries[-1]
    assert (entry.place, entry.side) == ("cowl", "left")


def test_closing_and_opening_again(house: House) -> None:
    """Both are changes, and closing twice is told."""
    job = house.job()
    house.send(f"/jobs/{job.id}/close")
    assert house.job().status == "closed"
    assert house.send(f"/jobs/{job.id}/close").status_code == 422  # type: ignore[attr-defined]
    house.send(f"/jobs/{job.id}/reopen")
    assert house.job().status == "open"


def test_the_intake_is_amended(house: House) -> None:
    """What differs is kept as a change; what is left empty stays."""
    job = house.job()
    house.send(f"/jobs/{job.id}/intake", order="W-72", vehicle="")
    assert (house.job().intake.order_number, house.job().intake.vehicle) == ("W-72", "minibus")
    assert house.job().edits[-1].before == "W-71"


def test_an_answer_is_emptied_and_nobody_is_written_over(house: House) -> None:
    """Only what was changed in the form counts; a field that somebody else changed meanwhile is told."""
    job = house.job()
    path = f"/jobs/{job.id}/intake"
    house.send(path, liquid=["rain", "wash"], odometer="62305 mi", since="last week")
    drawn = {f"was-{n}": v for n, v in re.findall(r'name="was-(\w+)" value="([^"]*)"', house.client.get(path).text)}
    same = {n.removeprefix("was-"): v.split() if n == "was-liquid" else v for n, v in drawn.items()}
    before = house.job().edits
    house.send(path, **drawn, **same)
    assert house.job().edits == before
    house.rooms.store.amend_job(job.id, "intake.vehicle", "bus", "Bo")
    house.send(path, **drawn, **{**same, "liquid": ["rain"], "odometer": "", "since": ""})
    intake = house.job().intake
    assert (intake.vehicle, intake.conditions.liquid, intake.conditions.since) == ("bus", ("rain",), None)
    assert (intake.odometer, intake.odometer_unit) == (None, None)
    answer = house.send(path, **drawn, **{**same, "vehicle": "van"})
    assert answer.status_code == 409 and "somebody changed this meanwhile" in answer.text  # type: ignore[attr-defined]
    assert house.job().intake.vehicle == "bus"


@pytest.mark.parametrize("to", ["md", "html", "json", "jsonl", "csv"])
def test_documents_are_given_as_files(still: House, to: str) -> None:
    """Every format comes as a download with its type and a plain name."""
    answer = still.client.get(f"/jobs/{still.job().id}/files/{to}")
    assert answer.status_code == 200
    assert answer.headers["content-disposition"] == f'attachment; filename="unit-9.{to}"'
    assert len(answer.content) > 200


def test_the_sketch_has_its_text(still: House) -> None:
    """Marks of three shapes, each with its places in words beside it."""
    text = still.client.get(f"/jobs/{still.job().id}").text
    assert 'role="img"' in text and "Vehicle from one side and from above" in text
    legend = text.split('class="legend"')[1]
    assert re.search(r"Drop: water showed</dt>\s*<dd>[^<]*right rear floor", legend)
    assert re.search(r"Diamond: it came in</dt>\s*<dd>[^<]*right tail lamp", legend)


def test_words_not_understood_are_listed_with_examples(still: House) -> None:
    """The lead sees what no rule took, with the sentence that it stood in."""
    text = still.client.get("/words").text
    assert "doodad" in text and "The wobbly doodad was crusty." in text


def test_a_word_is_added_and_shows_what_it_changes(house: House) -> None:
    """The kept sentence is understood at once; taking the word back gives the entries back as they were."""
    house.send(f"/jobs/{house.job().id}/lines", text="The left cowl drain is gungy.")
    before = house.job().entries
    answer = house.send("/words", phrase="gungy", means="state:blocked")
    text = answer.text  # type: ignore[attr-defined]
    assert "1 kept sentence understood in another way" in text
    assert "The left cowl drain is gungy." in text
    assert [(e.place, e.side, e.state) for e in house.job().entries if e not in before] == [("cowl", "left", "blocked")]
    house.send("/words/take-back", phrase="gungy")
    assert house.job().entries == before


@pytest.mark.parametrize(
    ("phrase", "means", "told"),
    [
        ("gasket", "place:cowl", "gasket"),
        ("", "place:cowl", "A phrase and what it means are needed"),
        ("doodad", "place:moon", "A phrase and what it means are needed"),
        ("doodad", "command:../x", "A phrase and what it means are needed"),
    ],
)
def test_a_word_that_cannot_be_added_is_told(still: House, phrase: str, means: str, told: str) -> None:
    """What means something already, or would mean nothing, is refused; the vocabulary stays as it was."""
    answer = still.send("/words", phrase=phrase, means=means)
    assert answer.status_code == 422  # type: ignore[attr-defined]
    assert "Not added." in answer.text and told in answer.text  # type: ignore[attr-defined]
    assert not (still.rooms.home / "vocab").exists()
