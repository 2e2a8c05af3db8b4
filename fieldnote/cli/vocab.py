"""``fieldnote vocab``: the team's side of the vocabulary."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from fieldnote.errors import PackFault, UserMistake

if TYPE_CHECKING:
    from fieldnote.flow.rooms import Rooms
    from fieldnote.vocabulary.editing import Added

app = typer.Typer(
    name="vocab",
    no_args_is_help=True,
    rich_markup_mode="rich",
    help="The trade's words: check them, add to them, see how a sentence is understood, prove that it still works.",
)

PackName = Annotated[Optional[str], typer.Option("--pack", help="A pack's name, or a folder. Default: the settings'.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]


def _rooms(pack: str | None) -> Rooms:
    from fieldnote.flow.rooms import Rooms

    return Rooms(pack=pack)


def _print_json(value: Any) -> None:
    import json

    from fieldnote.wire import plain

    print(json.dumps(plain(value), ensure_ascii=False, indent=2))


@app.command()
def check(
    pack: PackName = None,
    as_json: AsJson = False,
    listing: Annotated[bool, typer.Option("--list", help="Also list every id with its words.")] = False,
) -> None:
    """Check a pack strictly: every fault with its file, its line and the nearest valid value.

    The proving set and the leak map are checked with it. Terms that sound alike follow with the risk of each pair, and
    a warning where confusions were measured with another recogniser than the one in use. Exit code 2 where there is a
    fault.

    Examples:

      fieldnote vocab check

      fieldnote vocab check --pack vocab/building-leaks

      fieldnote vocab check --list
    """
    from fieldnote.cli import vocab_show
    from fieldnote.flow import words

    rooms = _rooms(pack)
    try:
        words.check_all(rooms)
    except PackFault as error:
        if as_json:
            faults = [vocab_show.fault_json(f) for f in error.faults]
            _print_json({"good": False, "what": error.what, "where": error.where, "faults": faults})
        else:
            vocab_show.faults(error)
        raise typer.Exit(error.exit_code) from error
    found = words.confusions_of(rooms)
    if as_json:
        _print_json(vocab_show.check_json(rooms.pack, found, words.additions_of(rooms), listing))
    else:
        vocab_show.check(rooms.pack, found, words.additions_of(rooms), listing)


@app.command()
def add(
    kind: Annotated[
        Optional[str], typer.Argument(help="place, part, state, method, material, fact, command, condition, ...")
    ] = None,
    id: Annotated[Optional[str], typer.Argument(help="Its id: grommet, deck-lid.")] = None,
    say: Annotated[Optional[list[str]], typer.Argument(metavar="WORDS", help="Spoken variants to add.")] = None,
    key: Annotated[str, typer.Option("--as", help="Which list the words go to: say, nouns, verbs, inside.")] = "say",
    new: Annotated[bool, typer.Option("--new", help="A term that is not there yet.")] = False,
    name: Annotated[Optional[str], typer.Option(help="New: its name in the write-up.")] = None,
    plural: Annotated[Optional[str], typer.Option(help="New: its plural.")] = None,
    kinds: Annotated[
        Optional[list[str]], typer.Option("--kinds", help="New state: evidence, check, test, access or repair.")
    ] = None,
    assembly: Annotated[Optional[str], typer.Option(help="New place: within which assembly its side holds.")] = None,
    paired: Annotated[bool, typer.Option("--paired", help="New place: it has a left and a right one.")] = False,
    near: Annotated[
        Optional[list[str]], typer.Option(help="New place: a neighbour; may be given several times.")
    ] = None,
    like: Annotated[
        Optional[str], typer.Option(help="New place: a place that leaks in the same way, for its leak-map rows.")
    ] = None,
    prior: Annotated[
        Optional[float], typer.Option(help="New place: how likely each of its sources is, 0 to 1, where not as --like.")
    ] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take the latest addition back.")] = False,
    pack: PackName = None,
    as_json: AsJson = False,
) -> None:
    """Add a spoken variant, a term, or a whole place; or take the latest addition back.

    Additions go into your data folder; the shipped pack stays as it is, and comments and order in your files stay too.
    What means something already is refused, with what it means.

    Examples:

      fieldnote vocab add part grommet "rubber doughnut" "wire donut"

      fieldnote vocab add state torn "chew" --as verbs

      fieldnote vocab add --new part door-edge-guard "edge guard" --name "door-edge guard"

      fieldnote vocab add --new place package-tray "package tray" "parcel shelf" --near back-glass --like back-glass

      fieldnote vocab add --undo
    """
    from fieldnote.cli import vocab_show
    from fieldnote.vocabulary import editing

    rooms = _rooms(pack)
    source: str | Path = pack or rooms.settings.pack.name
    if undo:
        undone = editing.undo(source, rooms.home)
        if as_json:
            _print_json({"undone": undone.what, "files": [str(f) for f in undone.files], "left": undone.left})
        else:
            vocab_show.undone(undone)
        return
    if not kind or not id or not say:
        raise UserMistake(
            "a kind, an id and at least one phrase are needed",
            where="vocab add",
            do='For example: fieldnote vocab add part grommet "rubber doughnut".',
        )
    if not new:
        for given, option in ((name, "--name"), (assembly, "--assembly"), (near, "--near"), (like, "--like")):
            if given:
                raise UserMistake(f"{option} belongs to a new term", where="vocab add", do="Put --new in front.")
        added = editing.add_phrases(source, rooms.home, kind, id, say, key)
    else:
        values: dict[str, Any] = {"name": name or id.replace("-", " "), "plural": plural, key: say, "kinds": kinds}
        if kind == "place":
            values |= {"assembly": assembly or id, "paired": paired, "near": near}
        values = {k: v for k, v in values.items() if v is not None}
        added = _add_new(source, rooms.home, kind, id, values, like, prior)
    if as_json:
        _print_json(vocab_show.added_json(added))
    else:
        vocab_show.added(added)


def _add_new(
    source: str | Path, home: Path, kind: str, id: str, values: dict[str, Any], like: str | None, prior: float | None
) -> Added:
    from fieldnote.flow.words import check_map
    from fieldnote.vocabulary import editing

    if like is None:
        return editing.add_term(source, home, kind, id, values)
    if kind != "place":
        raise UserMistake("--like belongs to a place", where="vocab add", do="Leave it out.")
    return editing.add_place(source, home, id, values, like=like, check_map=check_map, prior_prob=prior)


@app.command("say")
def say_(
    sentences: Annotated[list[str], typer.Argument(metavar="SENTENCE", help='One utterance each; "-" reads lines.')],
    steering: Annotated[Optional[str], typer.Option(help="The job's steering side: left or right.")] = None,
    pack: PackName = None,
    as_json: AsJson = False,
) -> None:
    """Show how sentences are understood: words, mentions, entries, and what was left over.

    Several sentences are one job, in the order given, so that what was named before carries on.

    Examples:

      fieldnote vocab say "hose on the left tail lamp three minutes dry"

      fieldnote vocab say "checking the right sliding door" "weatherstrip is torn" "same on the left"
    """
    from fieldnote.cli import vocab_show
    from fieldnote.flow.explaining import explain

    if steering not in (None, "left", "right"):
        raise UserMistake(f"steering is left or right, not {steering!r}", where="--steering", do="Give one of these.")
    lines = [line for s in sentences for line in (sys.stdin.read().splitlines() if s == "-" else [s]) if line.strip()]
    if not lines:
        raise UserMistake("there is nothing to understand", where="vocab say", do="Give a sentence.")
    told = explain(_rooms(pack), lines, steering)
    if as_json:
        _print_json(vocab_show.told_json(told))
    else:
        vocab_show.told(told)


@app.command()
def confusable(
    phrase: Annotated[str, typer.Argument(help="Only pairs that these words are part of.")] = "",
    pack: PackName = None,
    as_json: AsJson = False,
) -> None:
    """List terms that sound alike, riskiest first: by sound, and as measured with a recogniser.

    Words that must never be taken for each other belong into sounds.toml of the pack.

    Examples:

      fieldnote vocab confusable

      fieldnote vocab confusable seal
    """
    from fieldnote.cli import vocab_show
    from fieldnote.flow.words import confusions_of

    found = confusions_of(_rooms(pack), phrase)
    if as_json:
        _print_json(vocab_show.confusions_json(found))
    else:
        vocab_show.confusions(found)


@app.command()
def unknown(
    jobs: Annotated[Optional[list[str]], typer.Argument(metavar="JOB", help="Only these jobs. Default: all.")] = None,
    text: Annotated[Optional[str], typer.Option(help="A text file instead of kept jobs; - for standard input.")] = None,
    at_least: Annotated[int, typer.Option(help="Leave out what comes less often.")] = 1,
    limit: Annotated[int, typer.Option(help="Show so many at most; 0 shows all.")] = 30,
    pack: PackName = None,
    as_json: AsJson = False,
) -> None:
    """List words and phrases that the pack does not know yet, most frequent first, with sentences they came in.

    Examples:

      fieldnote vocab unknown

      fieldnote vocab unknown --at-least 3

      fieldnote vocab unknown --text notes.txt
    """
    from fieldnote.cli import vocab_show
    from fieldnote.flow import words
    from fieldnote.flow.texts import lines_of, read_lines

    rooms = _rooms(pack)
    if text is None:
        found = words.unknown_of(rooms, jobs or (), at_least=at_least)
    elif jobs:
        raise UserMistake("jobs and --text exclude each other", where="vocab unknown", do="Give one of the two.")
    else:
        lines = lines_of(sys.stdin.buffer.read(), "standard input") if text == "-" else read_lines(Path(text))
        found = words.unknown_in(rooms, lines, at_least=at_least)
    shown = found if limit <= 0 else found[:limit]
    if as_json:
        _print_json({"unknown": shown, "of": len(found)})
    else:
        vocab_show.unknown(shown, len(found), kept=text is not None or bool(rooms.store.jobs()))


@app.command()
def prove(
    accept: Annotated[bool, typer.Option("--accept", help="Take what was lost for meant: it no longer fails.")] = False,
    all_right: Annotated[bool, typer.Option("--all-right", help="Also fail where anything at all is wrong.")] = False,
    pack: PackName = None,
    as_json: AsJson = False,
) -> None:
    """Run the pack's own labelled dictations and show what changed since the last run: gained, lost, still wrong.

    They stand in the pack's folder [bold]proving[/bold], and yours in the same folder of your additions. Exit code 1
    where something that worked works no more.

    Examples:

      fieldnote vocab prove

      fieldnote vocab prove --pack building-leaks --all-right
    """
    from fieldnote.cli import vocab_show
    from fieldnote.flow.words import prove_pack

    rooms = _rooms(pack)
    proof = prove_pack(rooms, accept=accept)
    if as_json:
        _print_json(vocab_show.proof_json(rooms.pack, proof))
    else:
        vocab_show.proof(rooms.pack, proof)
    wrong = len(proof.verdicts) - proof.right
    if (proof.lost and not accept) or (all_right and wrong):
        raise typer.Exit(1)


@app.command()
def measure(
    phrases: Annotated[Optional[list[str]], typer.Argument(metavar="WORDS", help="Phrases of the pack.")] = None,
    kind: Annotated[Optional[list[str]], typer.Option(help="All phrases of a kind: place, part, state, ...")] = None,
    sound: Annotated[
        Optional[Path],
        typer.Option(help="A folder of recordings, named after what is said in them, instead of voices."),
    ] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Keep what helps in heard_as.toml of your additions.")] = False,
    into: Annotated[Optional[Path], typer.Option(help="Keep it in this folder instead (a pack of your own).")] = None,
    pack: PackName = None,
    as_json: AsJson = False,
) -> None:
    """Find out what the recogniser makes of words: speak them, clean and in noise, and hear what comes back.

    Needs espeak-ng for the voices, or recordings of your own. Readings that help can be kept: the pack then takes them
    for the word, in fitting context where they are plain English.

    Examples:

      fieldnote vocab measure "seam sealer" weatherstrip

      fieldnote vocab measure "rubber doughnut" --keep

      fieldnote vocab measure --sound recordings/ --keep
    """
    from fieldnote.cli import vocab_show
    from fieldnote.cli.bars import bar
    from fieldnote.flow import trials, words
    from fieldnote.vocabulary import measuring
    from fieldnote.vocabulary.confusable import spoken_terms
    from fieldnote.vocabulary.taken import spoken_form

    rooms = _rooms(pack)
    wanted = [spoken_form(p) for p in phrases or ()] + [t.phrase for t in spoken_terms(rooms.pack, kind or ())]
    if not wanted and sound is None:
        raise UserMistake(
            "no words were named", where="vocab measure", do="Name phrases, a --kind or a --sound folder."
        )
    with bar("hearing") as tell:
        found = trials.measure_recordings(rooms, sound, tell) if sound else trials.measure(rooms, wanted, tell)
        heard = tuple(found)
    known = words.meanings_of(rooms)
    readings = measuring.readings(heard, meanings=known, breaks=words.breaks_grammar(rooms))
    rows = measuring.rows_of(readings, words.model_hash(rooms) or "", trials.plain_english(rooms))
    kept = None
    if keep or into is not None:
        folder = into or rooms.home / "vocab" / rooms.pack.id
        kept = measuring.keep_rows(folder, rooms.pack, rows, {t.said for t in heard})
    if as_json:
        _print_json(
            {"trials": len(heard), "readings": readings, "kept": rows if kept else [], "file": kept and str(kept)}
        )
    else:
        vocab_show.measured(heard, readings, kept)
