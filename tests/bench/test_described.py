"""The bench's own description of what it answers, held against it by schemathesis."""

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import schemathesis
import soundfile
from benches import Bench, at_work
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import CheckFunction, not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_schema_conformance,
    status_code_conformance,
)
from starlette.routing import Route

from presolder.render.bench.described import JOB, OPERATIONS, openapi
from presolder.render.bench.routes import application

CHECKS = [
    not_a_server_error, status_code_conformance, content_type_conformance,
    response_schema_conformance,
]  # fmt: skip
EXAMPLES = settings(
    max_examples=12, deadline=None, phases=[Phase.explicit, Phase.generate], derandomize=True,
    suppress_health_check=list(HealthCheck),
)  # fmt: skip
TASKS = JOB + "/tasks/{task}"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    with at_work(tmp_path_factory.mktemp("bench")) as found:
        assert found.ask("POST", "/api/jobs", {"title": "one", "answers": {}})[0] == 201
        yield found


@schemathesis.serializer("audio/wav", "text/csv")
def as_it_is(_: object, value: object) -> bytes:
    return value if isinstance(value, bytes) else str(value).encode()


schema = schemathesis.openapi.from_dict(openapi(["one"])).exclude(path="/api/stop")


def test_the_bench_tells_it_of_itself(bench: Bench) -> None:
    assert bench.ask("GET", "/api/openapi.json")[1] == openapi(["one"])


def answers_as_described(case: schemathesis.Case, bench: Bench, held: list[CheckFunction]) -> None:
    if "name" in case.path_parameters:
        case.path_parameters["name"] = "one"
    headers = {"Origin": bench.base, "Cookie": bench.cookie}
    case.call_and_validate(base_url=bench.base, headers=headers, checks=held)


@pytest.mark.slow
@schema.exclude(path=TASKS).parametrize()
@EXAMPLES
def test_what_is_described_is_what_is_answered(case: schemathesis.Case, bench: Bench) -> None:
    answers_as_described(case, bench, [*CHECKS, negative_data_rejection])


def test_every_route_is_described_and_nothing_else(tmp_path: Path) -> None:
    asked = application(tmp_path, lambda: None, lambda: False).routes
    routes = {
        (method, route.path)
        for route in asked
        if isinstance(route, Route) and route.path.startswith("/api/")
        for method in (route.methods or set()) - {"HEAD"}
    }
    assert routes == set(OPERATIONS) | {("GET", "/api/openapi.json")}


def wav() -> bytes:
    file = io.BytesIO()
    soundfile.write(file, 0.1 * np.random.default_rng(1).normal(size=48_000), 48_000, format="WAV")
    return file.getvalue()


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("PUT", JOB + "/takes/{take}", wav()),
        ("PUT", JOB + "/stock", b"type,value,count\nresistor,150k,10\n"),
        ("PUT", JOB + "/answer", {
            "presolder_answer": 1, "dials": [{"dial": 7, "seconds": 9}], "favourite": "",
        }),
        ("POST", JOB + "/reading", {"design": "series", "pot": 0, "step": 0, "ohms": "1k"}),
        ("PUT", JOB, {"version": 1, "key": "cable.length", "answer": "9 m"}),
        ("POST", JOB + "/{way}/step", {"version": 2}),
        ("GET", JOB + "/drawn", None),
    ],
)  # fmt: skip
def test_what_can_be_done_is_answered_as_described(
    bench: Bench, method: str, path: str, body: object
) -> None:
    """In this order, since a change is made on what the last one left."""
    parameters = {"name": "one", "take": "at-7", "way": "undo"}
    case = schema[path][method].Case(
        path_parameters={one: given for one, given in parameters.items() if f"{{{one}}}" in path},
        **({} if body is None else {"body": body}),
    )
    headers = {"Origin": bench.base, "Cookie": bench.cookie}
    answer = case.call_and_validate(base_url=bench.base, headers=headers, checks=CHECKS)
    assert answer.status_code == 200, answer.text


@pytest.mark.thorough
@schema.include(path=TASKS).parametrize()
@EXAMPLES
def test_work_is_answered_as_described(case: schemathesis.Case, bench: Bench) -> None:
    """Which tells what it cannot do among its events."""
    answers_as_described(case, bench, CHECKS)
