"""For who looks after the words: what was said in kept jobs and taken by no rule."""

from __future__ import annotations

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from fieldnote.flow.words import unknown_of
from fieldnote.web.asking import OnPage

router = APIRouter(prefix="/words")
SHOWN = 200


@router.get("")
def show(page: OnPage) -> HTMLResponse:
    """Unplaced words and phrases of all kept jobs of the shop's vocabulary, the most frequent first."""
    rooms = page.house.rooms
    found = unknown_of(rooms)
    return page.render("words.html.j2", phrases=found[:SHOWN], total=len(found), pack=rooms.pack)
