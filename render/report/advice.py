"""The verdict in a sentence: does a bypass help here, which, how much, at what cost."""

from presolder.models.instrument.network import Design, format_network
from presolder.models.judging.alike import GUITARS
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import Merit
from presolder.models.judging.ranking import Scored
from presolder.models.judging.remedies import Remedy
from presolder.models.judging.verdict import Need
from presolder.render.report.judged import dials_in_words, sounds_over_dials

AS_AT_TEN = "No: where the knob is left, the bare pot sounds as it does at 10, only quieter."
ALWAYS_FULL = (
    "No: with the knob always at 10, wiper and input lug are one, and a bypass does nothing."
)
_MOST_NAMED = 3


def advice(ear: Ear, found: Need) -> tuple[str, ...]:
    """The verdict in a sentence, what is as good, and what helps without parts."""
    if ear.conditions.player.plays == "full":
        return (ALWAYS_FULL,)
    if found.verdict == "no":
        return (AS_AT_TEN,)
    (bare,) = found.bare.figures
    out = (
        ""
        if found.bare.heard == "input" or ear.dirt is None
        else f", out of the {ear.dirt.kind} dirt"
    )
    state = (
        f"rolled down to {dials_in_words(bare.dial)} this guitar is"
        f" {sounds_over_dials(bare)} beside itself at 10{out}"
    )
    said = [f"{found.verdict.capitalize()}: {state}, and {_which(found)}"]
    if found.as_good:
        others = ", ".join(named(one.design) for one in found.as_good[:_MOST_NAMED])
        said.append(f"As good to the ear: {others}.")
    if found.otherwise_by:
        takes = " and ".join(name.removeprefix("bundled take ") for name in found.otherwise_by)
        instead = "the bare pot does as well" if found.first is not found.bare else "one helps"
        said.append(f"It hangs on the playing: with {takes} {instead}.")
    return (*said, without_parts(found.remedies))


def named(design: Design) -> str:
    """``series (330k + 180p)``; an expression that has no other name by itself."""
    expression = format_network(design.network)
    return design.name if expression in ("", design.name) else f"{design.name} ({expression})"


def without_parts(remedies: tuple[Remedy, ...]) -> str:
    """What helps instead of a bypass, so that ears notice."""
    helping = [one for one in remedies if one.helps][:_MOST_NAMED]
    if not helping:
        return "Without a bypass nothing that was reckoned is audibly nearer either."
    each = ", ".join(f"{one.what} ({one.nearer_db:.1f} dB nearer)" for one in helping)
    return f"Without a bypass: {each}."


def _which(found: Need) -> str:
    first = found.first
    if first is found.bare:
        return f"no bypass here is audibly nearer to that, because {_because(found)}."
    (figures,), (bare,) = first.figures, found.bare.figures
    ahead = found.bare.score_db - first.score_db
    return (
        f"{named(first.design)} brings it {ahead:.1f} dB nearer, on {first.nearer} of {GUITARS}"
        f" guitars like yours; it costs {in_parts(first)}, and the knob is then {off(figures)},"
        f" where the bare pot is {off(bare).removesuffix(' than an ideal one')}."
    )


def in_parts(one: Scored) -> str:
    """``2 parts``, and a dual-gang pot where one is needed."""
    effort = one.effort
    plain = effort.parts - effort.gangs
    parts = f"{plain} part{'' if plain == 1 else 's'}"
    return f"a dual-gang pot and {parts}" if effort.gangs else parts


def off(figures: Merit) -> str:
    """How much louder or softer than an ideal knob, as the dials count."""
    phon = figures.over_dials(figures.taper_shift_phon)
    if abs(phon) < 0.05:
        return "as loud as an ideal one"
    return f"{abs(phon):.1f} phon {'louder' if phon > 0 else 'softer'} than an ideal one"


def _because(found: Need) -> str:
    """Why nothing comes before the bare pot."""
    (bare,), best = found.bare.figures, found.brightest_help
    if bare.over_dials(bare.change.brighter_db) > bare.over_dials(bare.change.duller_db):
        return "it gets brighter as it is turned down, and a bypass only adds treble"
    if best is None:
        return "none gives back what is lost"
    (figures,) = best.figures
    gives = f"{named(best.design)}, which gives most of it back,"
    spoils = spoilt_in_words(figures)
    if spoils:
        return f"{gives} {spoils[0]}"
    if found.bare.score_db - best.score_db >= 0 and best.nearer is not None:
        return f"{gives} is nearer by no more than ears can tell, on {best.nearer} of {GUITARS}"
    return f"{gives} makes the knob {off(figures)}"


def spoilt_in_words(figures: Merit) -> list[str]:
    """What keeps a design's knob from being a volume knob, for the end of a sentence."""
    words = {
        "left loud": f"is {figures.louder_at_one_phon:.0f} phon louder at 1 than the bare pot",
        "rises": "gets louder somewhere as the knob comes down",
        "peaky": f"has a peak of {figures.peak_db:.0f} dB low down",
    }
    return [words[what] for what in figures.spoilt]
