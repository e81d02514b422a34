"""What a recording says about itself."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Tags:
    """Title, place and maker of a file; standard fields, since players show no others.

    Attributes
    ----------
    title : str
    design, dial, rig : str
    maker : str
        Who made it; the artist, as far as players are concerned.
    track : int
        Its place among the files; 0 for none.
    """

    title: str
    design: str
    dial: str
    rig: str
    maker: str = ""
    track: int = 0

    def as_dict(self) -> dict[str, str]:
        """By field, without those that are empty."""
        every = {
            "title": self.title,
            "artist": self.maker or "the workshop",
            "album": self.rig,
            "track": str(self.track) if self.track else "",
            "comment": f"design {self.design}, dial {self.dial}, rig {self.rig}",
        }
        return {field: text for field, text in every.items() if text}
