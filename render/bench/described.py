"""What the bench answers to, described as OpenAPI 3.1 has it, for whoever asks without its page."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from presolder.render import SCHEMA
from presolder.render.bench.tasks import MADE_FILES, TASKS

Shape = dict[str, Any]
TEXT, WHOLE, NUMBER, FLAG = (
    {"type": kind} for kind in ("string", "integer", "number", "boolean")
)  # fmt: skip
_JSON, _WAV = "application/json", "audio/wav"


def _list(of: Shape) -> Shape:
    return {"type": "array", "items": of}


def _by_name(of: Shape) -> Shape:
    return {"type": "object", "additionalProperties": of}


def _object(**known: Shape) -> Shape:
    """With all of these, and maybe more."""
    return {"type": "object", "properties": known, "required": list(known)}


def _answer(**known: Shape) -> Shape:
    return _object(schema={"const": SCHEMA}, **known)


_ERROR = _answer(error=TEXT)
_ENTRY = {"name": TEXT, "version": WHOLE, "title": TEXT, "design": TEXT, "archived": FLAG}
_STATE = _answer(
    **_ENTRY, did=TEXT, undo=FLAG, redo=FLAG, notes=TEXT, workshop=TEXT, done=_list(TEXT),
    readings=_by_name(TEXT), toml=TEXT, fields=_list(_object(key=TEXT, asks=TEXT, value=TEXT)),
    fault=TEXT, doubts=_list(TEXT), takes=_list(TEXT),
    earlier=_list(TEXT), stock=TEXT, answer=FLAG,
    made=_list({"enum": list(MADE_FILES)}),
)  # fmt: skip
_CHANGE = {
    "type": "object",
    "properties": {
        "version": WHOLE, "key": TEXT, "answer": TEXT, "values": _by_name(TEXT), "toml": TEXT,
        "told": {"type": "object", "minProperties": 1},
    },
    "required": ["version"],
    "anyOf": [{"required": one} for one in (["key", "answer"], ["values"], ["toml"], ["told"])],
}  # fmt: skip
_TASK = {
    "type": "object",
    "properties": {
        "situation": TEXT, "designs": _list(TEXT), "design": TEXT, "take": TEXT,
        "takes": _by_name(TEXT), "stock": FLAG, "answer": FLAG, "light": FLAG, "loop": FLAG,
        "at_jack": FLAG, "resistance": TEXT, "recorded": _list(_object(take=TEXT)),
        "points": _list({**_list(NUMBER), "minItems": 2, "maxItems": 2}),
    },
}  # fmt: skip


@dataclass(frozen=True)
class Operation:
    """One thing that can be asked.

    Attributes
    ----------
    does : str
        In a sentence.
    answers : dict
        JSON schema of what comes back; none where it is a file or events.
    takes : dict, optional
        JSON schema of what it is asked by.
    sends : str
        Media type of what it is asked by.
    comes : str
        Media type of what comes back.
    status : int
        Of success.
    """

    does: str
    answers: Shape = field(default_factory=dict)
    takes: Shape | None = None
    sends: str = _JSON
    comes: str = _JSON
    status: int = 200

    def plain(self, path: str, parameters: dict[str, Shape]) -> dict[str, Any]:
        """As OpenAPI has it."""
        bad = {"description": "in one line, what cannot be", "content": _content(_JSON, _ERROR)}
        # 400 what was asked, 404 not there, 409 changed meanwhile, 507 no room.
        statuses = ["400", "404", "409", "507"]
        told: dict[str, Any] = {
            "summary": self.does,
            "parameters": [
                {"name": name, "in": "path", "required": True, "schema": shape}
                for name, shape in parameters.items()
                if f"{{{name}}}" in path
            ],
            "responses": {
                str(self.status): {
                    "description": self.does, "content": _content(self.comes, self.answers)
                },
                **dict.fromkeys(statuses, bad),
            },
        }  # fmt: skip
        if self.takes is not None:
            told["requestBody"] = {"required": True, "content": _content(self.sends, self.takes)}
        return told


def _content(kind: str, shape: Shape) -> dict[str, Any]:
    return {kind: {"schema": shape}}


_BYTES = {"type": "string", "format": "binary"}
_VERSION = _object(version=WHOLE)
JOB = "/api/jobs/{name}"
OPERATIONS: dict[tuple[str, str], Operation] = {
    ("GET", "/api/jobs"): Operation(
        "The guitars of this bench",
        _answer(
            bench=TEXT, kinds=_by_name(TEXT), rigs=_list(TEXT),
            jobs=_list(_object(name=TEXT, title=TEXT)),
        ),
    ),
    ("POST", "/api/jobs"): Operation(
        "Begin a guitar, from a built-in rig or an earlier guitar, or by answers as init has them",
        _answer(name=TEXT),
        {
            "type": "object", "required": ["title"],
            "properties": {"title": TEXT, "from": TEXT, "answers": _by_name(TEXT)},
        },
        status=201,
    ),
    ("GET", "/api/order"): Operation("What to order for all", _answer(orders=_list({}))),
    ("POST", "/api/stop"): Operation("End the bench", _answer(stopped=FLAG)),
    ("GET", JOB): Operation("All that is known of a guitar", _STATE),
    ("PUT", JOB): Operation(
        "Change it, on the version that was seen: one answer, several values, the rig file, or"
        " what is told of the job",
        _STATE, _CHANGE,
    ),
    ("POST", JOB + "/{way}/step"): Operation("Undo or redo", _STATE, _VERSION),
    ("GET", JOB + "/drawn"): Operation(
        "Its circuit as SVG, its response, and what ears say of it",
        _answer(
            at_first=TEXT, heard=TEXT, sounds=_list(TEXT), svg=TEXT, situations=_list(TEXT),
            situation=TEXT, curves={"type": "object"},
        ),
    ),
    ("POST", JOB + "/tasks/{task}"): Operation(
        "Work, as server-sent events: done and of, at last result and remarks, or error",
        takes=_TASK, comes="text/event-stream",
    ),
    ("PUT", JOB + "/takes/{take}"): Operation(
        "Keep a recording",
        _answer(take=TEXT, seconds=NUMBER, peak_dbfs=NUMBER, remarks=_list(TEXT)),
        _BYTES, sends=_WAV,
    ),
    ("POST", JOB + "/takes/{take}/swap"): Operation(
        "Let a recording and the one of its name before it change places",
        _answer(take=TEXT), {"type": "object"},
    ),
    ("PUT", JOB + "/stock"): Operation(
        "Keep a drawer of parts", _answer(parts=WHOLE), _BYTES, sends="text/csv"
    ),
    ("PUT", JOB + "/answer"): Operation(
        "Keep what a customer sent back",
        _answer(left_at=_list(NUMBER), favourite=TEXT), {"type": "object"},
    ),
    ("POST", JOB + "/measured"): Operation(
        "What a meter's readings tell of the guitar, and what the form would have by them",
        _answer(said=_list(TEXT), values=_by_name(TEXT)),
        {
            "type": "object", "required": ["what"],
            "properties": {
                "what": {"enum": ["jack", "resonance", "cable"]}, "ohms": _by_name(TEXT),
                "bare_hz": TEXT, "loaded_hz": TEXT, "cable_hz": TEXT, "added": TEXT,
            },
        },
    ),
    ("POST", JOB + "/reading"): Operation(
        "What an ohm reading says of the work at one step of a design's sheet",
        _answer(said=TEXT), _object(design=TEXT, pot=WHOLE, step=WHOLE, ohms=TEXT),
    ),
    ("GET", JOB + "/made/{file}"): Operation(
        "What was made: the page, the sheet or the pack", comes="*/*"
    ),
}  # fmt: skip


def openapi(names: Iterable[str]) -> dict[str, Any]:
    """The description of a bench.

    Parameters
    ----------
    names : iterable of str
        Of its guitars.
    """
    parameters: dict[str, Shape] = {
        "name": TEXT | {"examples": list(names)},
        "way": {"enum": ["undo", "redo"]},
        "task": {"enum": list(TASKS)},
        "take": {"type": "string", "pattern": "^[A-Za-z0-9-]{1,60}$"},
        "file": {"enum": list(MADE_FILES)},
    }
    paths: dict[str, dict[str, Any]] = {}
    for (method, path), operation in OPERATIONS.items():
        paths.setdefault(path, {})[method.lower()] = operation.plain(path, parameters)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "presolder bench",
            "version": str(SCHEMA),
            "description": "Each request brings the cookie that the printed address gives, and"
            " where it changes something the bench's own address as Origin.",
        },
        "paths": paths,
    }
