"""The report of one trial for paper: the sentence, the picture, then every number."""

from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy.orm import Session

from analysis.workings import Workings
from server.deps import SeenTrial
from server.figures import render, trial_figure
from server.numbers import NO_BREAK
from server.page_trial import Family, Reading, trial_page
from server.page_trial_said import Said
from server.printed import Block, Heading, Paragraph, Picture, Table, printed
from server.store_trials import amended_document, report_of

VALUE = 1


def trial_report(db: Session, seen: SeenTrial, said: Mapping[str, Any]) -> bytes:
    """Return the report of a trial as PDF.

    Parameters
    ----------
    db : Session
        Database session.
    seen : SeenTrial
        A trial that was drawn on a tablet and that the reader may see.
    said : mapping
        From `server.page_trial_said.said_words`: what adults noted.

    Returns
    -------
    bytes
        A4 pages with what the page of the trial says, and nothing beyond it.
    """
    words, report = trial_page(db, seen), report_of(db, seen.trial)
    workings = Workings(amended_document(db, seen.trial).measured.to_trial())
    picture = render(trial_figure(workings, report), "png")
    blocks: list[Block] = [
        Paragraph(_about(words), muted=True),
        *(Paragraph(line) for line in [*words["outcome"], *words["flags"]]),
        Picture(picture, words["alt"]),
        Heading("Readings"),
        _readings(words["readings"]),
    ]
    if words["criterion"]:
        blocks.append(Paragraph(words["criterion"]))
    blocks.append(Heading("All measures"))
    for family in words["families"]:
        blocks += _family(family)
    blocks.append(Heading("What adults noted"))
    blocks += _noted([*said["marks"], *said["corrections"]])
    version = f"Computed by analysis version {report['analysis_version']}."
    blocks.append(Paragraph(version, muted=True))
    return printed(words["sentence"], blocks, words["cautions"])


def _about(words: Mapping[str, Any]) -> str:
    said = [words["child"].name, *words["about"], words["session"].day, words["place"]]
    return " · ".join(said).replace(NO_BREAK, " ")


def _readings(readings: list[Reading]) -> Table:
    return Table(
        ("Reading", "This trial", "Beside it"),
        [
            (one.label, one.text or "not known", "; ".join(filter(None, (one.beside, one.why))))
            for one in readings
        ],
        numbers=frozenset({VALUE}),
    )


def _family(family: Family) -> Iterator[Block]:
    if not family.rows:
        yield Paragraph(f"{family.name}: {family.remark}", muted=True)
        return
    yield Heading(family.name, level=3)
    if family.note:
        yield Paragraph(family.note, muted=True)
    yield Table(
        ("Measure", "This trial", "Meaning"),
        [(row.label, row.text, row.meaning) for row in family.rows],
        numbers=frozenset({VALUE}),
    )


def _noted(said: list[Said]) -> Iterator[Block]:
    if not said:
        yield Paragraph("Nothing was noted after this trial.", muted=True)
    for one in said:
        why = f" Reason: {one.reason}" if one.reason else ""
        yield Paragraph(f"{one.text}{why} ({one.about})")
