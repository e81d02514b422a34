"""Under which conditions something was judged, and what was heard, in words."""

from collections.abc import Iterable, Sequence
from typing import Any

from presolder.models.instrument.player import Playing
from presolder.models.judging.ear import Ear, shares
from presolder.models.judging.merit import Merit
from presolder.render.report.numbers import finite
from presolder.render.report.table import Table

# How much treble makes which word; common practice, no source.
_LITTLE_DB, _MUCH_DB = 1.0, 2.5
Cells = tuple[str, ...]
PLAYS_IN_WORDS: dict[Playing, str] = {
    "full": "for a player whose knob stays at 10",
    "rolls-back": "for a player who rolls back a little",
    "swells": "for a player who swells",
    "cleans-up-dirt": "for a player who cleans up dirt with the knob",
}


def judged_by(ears: Sequence[Ear]) -> tuple[str, ...]:
    """The conditions in sentences, for the end of every answer; what is alike is said once."""
    return tuple(dict.fromkeys(_judged_by(ear) for ear in ears))


def letters(ears: Sequence[Ear]) -> tuple[str, ...]:
    """What situations are called in a table."""
    return tuple(chr(ord("A") + at) for at in range(len(ears)))


def situations_table(ears: Sequence[Ear], head: Sequence[str], cells: Sequence[Cells]) -> Table:
    """A row a situation: its letter, name, what it counts for, and what is given of it."""
    rows = tuple(
        (letter, ear.name, f"{share:.0%}", *its)
        for letter, ear, share, its in zip(letters(ears), ears, shares(ears), cells, strict=True)
    )
    return Table(("", "situation", "counts", *head), rows, words=2)


def situations_plain(ears: Sequence[Ear]) -> list[dict[str, Any]]:
    """The situations for JSON; most often one."""
    return [
        {"name": ear.name, "weight": ear.weight, "judged_by": conditions_plain(ear)} for ear in ears
    ]


def _judged_by(ear: Ear) -> str:
    into = "" if ear.dirt is None else f", into {ear.dirt.kind} dirt"
    said = f"Judged on {ear.rig.name}{into}: {ear.conditions}"
    if ear.conditions.others:
        said += f", and {len(ear.conditions.others) - 1} more on guitars like it"
    return f"{said}."


def conditions_plain(ear: Ear) -> dict[str, Any]:
    """The conditions for JSON."""
    conditions = ear.conditions
    return {
        "rig": ear.rig.name,
        "dirt": None if ear.dirt is None else str(ear.dirt.kind),
        "plays": conditions.player.plays,
        "dials": list(conditions.player.dials),
        "take": conditions.material.name,
        "listening_level_db": conditions.listening_level_db,
        "speaker": conditions.speaker_power is not None,
        "tone_weight": conditions.tone_weight,
    }


def sounds(duller_db: float, brighter_db: float, noticed: bool) -> str:
    """What a change of tone sounds like."""
    if not noticed:
        return "as at 10"
    if min(duller_db, brighter_db) >= _LITTLE_DB:
        return "duller here, brighter there"
    word = "duller" if duller_db >= brighter_db else "brighter"
    size_db = max(duller_db, brighter_db)
    if size_db >= _MUCH_DB:
        return f"much {word}"
    return word if size_db >= _LITTLE_DB else f"a little {word}"


def sounds_over_dials(figures: Merit) -> str:
    """What the dials that count sound like together."""
    return sounds(
        figures.over_dials(figures.change.duller_db),
        figures.over_dials(figures.change.brighter_db),
        bool(figures.change.noticed.any()),
    )


def dials_in_words(dials: Iterable[float]) -> str:
    """``8, 7 and 6``."""
    texts = [f"{dial:g}" for dial in dials]
    return " and ".join([", ".join(texts[:-1]), texts[-1]] if len(texts) > 1 else texts)


def figures_plain(figures: Merit) -> dict[str, Any]:
    """Figures of merit for JSON."""
    change = figures.change
    return {
        "dials": finite(figures.dial),
        "duller_db": finite(change.duller_db),
        "brighter_db": finite(change.brighter_db),
        "largest_change_db": finite(change.largest_db),
        "noticed": [bool(one) for one in change.noticed],
        "level_phon": finite(figures.level_phon),
        "taper_shift_phon": finite(figures.taper_shift_phon),
        "sharpness_acum": finite(figures.acum),
        "tone_db": round(figures.tone_db, 4),
        "taper_phon": round(figures.taper_phon, 4),
        "leftover_phon": round(figures.leftover_phon, 4),
        "louder_at_one_phon": round(figures.louder_at_one_phon, 4),
        "peak_db": round(figures.peak_db, 4),
        "spoilt": list(figures.spoilt),
        "counts": finite(figures.heard),
        "load_ohms": figures.load_ohms,
    }


def mean_louder(figures: Merit) -> str:
    """By how much louder than an ideal knob, as the dials count, signed."""
    # Adding 0 takes the sign from a rounded nought.
    return f"{round(figures.over_dials(figures.taper_shift_phon), 1) + 0.0:+.1f}"
