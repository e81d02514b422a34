"""What became of many jobs."""

from collections import Counter
from dataclasses import asdict, dataclass
from typing import Any

from presolder.render.batch.running import Done
from presolder.render.report.table import Block, Table, lines_of, shows_itself

_SHOWN = 30


@shows_itself
@dataclass(frozen=True)
class BatchReport:
    """All jobs, in the file's order."""

    done: tuple[Done, ...]

    @property
    def well(self) -> bool:
        """Whether all are done: none failed, and none is with another run."""
        return all(one.outcome in ("made", "kept") for one in self.done)

    def blocks(self) -> tuple[Block, ...]:
        """How many of each kind, then those that failed, or all if they are few."""
        counts = Counter(one.outcome for one in self.done)
        said = ", ".join(f"{count} {outcome}" for outcome, count in counts.items())
        shown = self.done
        if len(shown) > _SHOWN:
            shown = tuple(one for one in self.done if one.outcome == "failed")[:_SHOWN]
        rows = tuple((one.name, one.outcome, f"{one.seconds:.1f}", one.message) for one in shown)
        head = f"{len(self.done)} jobs: {said}"
        if counts["elsewhere"]:
            head += f"; {counts['elsewhere']} are with another run: look again when it has ended"
        if not rows:
            return (head,)
        return (head, "", Table(("job", "outcome", "seconds", "said"), rows, words=4))

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {"well": self.well, "jobs": [asdict(one) for one in self.done]}
