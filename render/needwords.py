"""What a judgement of need says to people."""

import math

from presolder.models.need import Need, Playing, Verdict

SAYS: dict[Verdict, str] = {
    "no": "No: the bare pot keeps its treble where you leave the knob.",
    "hardly": "Hardly: the bare pot dulls the tone a little; most players leave it.",
    "probably": "Probably: the bare pot dulls the tone noticeably where you leave the knob.",
    "yes": "Yes: the bare pot takes much of the treble where you leave the knob.",
}
ALWAYS_FULL = (
    "No: with the knob always at 10, wiper and input lug are one, and a bypass does nothing."
)


def in_words(playing: Playing, result: Need) -> str:
    """The verdict, and a table of what the bare pot takes away."""
    lines = [ALWAYS_FULL if playing == "full" else SAYS[result.verdict]]
    if playing != "full":
        lines.append(
            f"Treble lost at the worst of the dials used ({playing}): {result.worst_db:.1f} dB."
        )
    lines += ["", "dial   lost at 2 kHz   3.5 kHz     5 kHz   resonance"]
    rows = zip(result.dial, result.lost_db, result.resonance_hz, result.resonance_db, strict=True)
    for dial, lost, frequency, height in rows:
        peak = "none" if math.isnan(frequency) else f"{frequency:.0f} Hz, {height:+.1f} dB"
        lines.append(f"{dial:4g}{lost[0]:13.1f} dB{lost[1]:7.1f} dB{lost[2]:7.1f} dB   {peak}")
    return "\n".join(lines)
