"""What every computation gets from the route class, shown on a route made for the test."""

import asyncio
import gc
import json
import time
from typing import Annotated

import pytest
from fastapi import APIRouter
from fastapi.testclient import TestClient
from pydantic import Field

from outfeed import Inconsistent, NotConverged
from outfeed.interrupt import may_stop
from outfeed.limits import DRY_BULB, Range
from outfeed_api.app import create_app
from outfeed_api.conversion import outside_words, to_display, to_si
from outfeed_api.measures import Measure
from outfeed_api.models import Answer, AssumedQuantity, Given, GrainId, Part, Request, cautions
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.server import configuration
from outfeed_api.settings import Settings

router = APIRouter(prefix="/v1", route_class=ComputeRoute)


class Layer(Given):
    depth: Annotated[float, Measure("length", example=2.0)] = Field(description="Depth.")


class ToyRequest(Request):
    grain: GrainId = "corn-yellow-dent"
    temperature: Annotated[float, Measure("temperature", DRY_BULB, example=10.0)] = Field(
        description="A temperature."
    )
    rate: Annotated[float, Measure("grain-rate")] | None = Field(None, description="A rate.")
    layers: list[Layer] | None = Field(None, description="Layers.", max_length=3)
    mode: str | None = Field(None, description="What to do.", max_length=20)


class ToyAnswer(Answer):
    temperature: Annotated[float, Measure("temperature")] = Field(description="The same.")
    rate: Annotated[float, Measure("grain-rate")] | None = Field(None, description="The same.")
    depths: Annotated[list[Annotated[float, Measure("length")]], Field(max_length=3)] = Field(
        default_factory=list, description="The same."
    )


def toy(request: ToyRequest) -> ToyAnswer:
    """Answer what was asked."""
    if request.mode == "inconsistent":
        raise Inconsistent("the rate contradicts the layers", "rate", "layers")
    if request.mode == "diverge":
        raise NotConverged("the toy", (0.0, 1.0), 1e-9)
    if request.mode == "crash":
        raise RuntimeError("secret")
    return ToyAnswer(
        decision="Do nothing.",
        units=request.units,
        temperature=request.temperature,
        rate=request.rate,
        depths=[layer.depth for layer in request.layers or []],
        assumed=[
            AssumedQuantity(
                input="rise",
                quantity="temperature-difference",
                value=10.0,
                why="a test",
                source="none",
            )
        ],
        cautions=cautions("lock-out", "lock-out"),
    )


router.post("/toy", summary="A toy", operation_id="toy")(
    computes(
        reads={"text/csv": lambda body, query: ToyRequest(units="us", temperature=float(body))},
        writes={"image/svg+xml": lambda request, answer: b"<svg/>"},
    )(toy)
)


def endless(request: ToyRequest) -> ToyAnswer:
    """Compute until nobody wants the answer."""
    while True:
        may_stop()
        time.sleep(0.001)


router.post("/endless", summary="Endless", operation_id="endless")(computes(heavy=True)(endless))
router.post("/steer", summary="Steer", operation_id="steer", tags=["steering"])(
    computes(heavy=True)(toy)
)


@pytest.fixture(scope="module")
def toys() -> TestClient:
    app = create_app(Settings(max_body_bytes=20_000))
    app.router.routes.extend(router.routes)
    return TestClient(app, raise_server_exceptions=False)


def ask(client: TestClient, **body: object):
    return client.post("/v1/toy", json=body)


def test_the_endpoint_sees_si_and_the_caller_their_own_units(toys):
    answer = ask(toys, units="us", temperature=50, rate=1000, layers=[{"depth": 10}]).json()
    assert answer["temperature"] == 50
    assert answer["rate"] == 1000
    assert answer["depths"] == [10]
    assert answer["units"] == "us"
    (assumed,) = answer["assumed"]
    assert (assumed["value"], assumed["unit"]) == (18, "degF")
    assert [caution["code"] for caution in answer["cautions"]] == ["lock-out"]


def test_the_decision_comes_first_and_the_basis_last(toys):
    names = list(ask(toys, units="metric", temperature=10).json())
    assert names[0] == "decision"
    assert names[-1] == "versions"


def test_a_value_out_of_range_is_named_with_its_range_in_the_callers_units(toys):
    answer = ask(toys, units="us", temperature=303)
    problem = answer.json()
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    (error,) = problem["errors"]
    assert error["pointer"] == "/temperature"
    assert error["value"] == 303
    assert error["allowed"] == {"minimum": -40.0, "maximum": 302.0, "unit": "degF"}


def test_a_limit_typed_in_either_unit_is_inside(toys):
    assert ask(toys, units="us", temperature=302).status_code == 200
    assert ask(toys, units="metric", temperature=150).status_code == 200


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"temperature": "10"}, "/temperature"),
        ({"temperature": True}, "/temperature"),
        ({"temperature": None}, "/temperature"),
        ({"rate": None}, "/rate"),
        ({"units": "si"}, "/units"),
        ({"colour": 1}, "/colour"),
        ({"layers": [{"depth": 1}, {"depth": "x"}]}, "/layers/1/depth"),
        ({"layers": [{"depth": 1}] * 4}, "/layers"),
        ({"layers": [{}]}, "/layers/0/depth"),
    ],
)
def test_a_field_of_the_wrong_kind_is_named(toys, change, pointer):
    answer = ask(toys, **({"units": "metric", "temperature": 10} | change))
    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]


@pytest.mark.parametrize(
    ("body", "word"),
    [
        (b"", "empty"),
        (b"{", "line 1, column 1"),
        (b'{"units": "us",\n "temperature": NaN}', "NaN and Infinity are not JSON"),
        (b'{"units": "us",\n "temperature": -Infinity}', "at line 2"),
        (b'{"units": "us",\n "temperature": -Infinity}', "NaN and Infinity are not JSON"),
        ('{"units": "us"}'.encode("utf-16"), "not in UTF-8"),
        (b'{"units": "us", "units": "us"}', "twice"),
        (b'\xef\xbb\xbf{"units": "us"}', "byte-order mark"),
        (b'{"units": "\xff"}', "line 1"),
        (b"[" * 10_000, "line 1"),
        (b'{"units": "us", "temperature": ' + b"9" * 5000 + b"}", "line 1"),
        (b'{"units": "u\x00s"}', "line 1"),
    ],
)
def test_a_body_that_is_not_strict_json_is_malformed(toys, body, word):
    answer = toys.post("/v1/toy", content=body, headers={"content-type": "application/json"})
    problem = answer.json()
    assert answer.status_code == 400
    assert problem["type"].endswith("malformed-json")
    assert word in problem["detail"]


@pytest.mark.parametrize("rates", [[1e-320, 820], [1e-320, *[820] * 300]])
def test_less_of_a_quantity_than_can_be_is_none_of_it(client, rates):
    log = {"elapsed": list(range(0, 60 * len(rates), 60)), "rates": rates}
    answer = client.post("/v1/settling", json={"units": "us", "log": log, "held": 1650})
    nothing = client.post(
        "/v1/settling",
        json={"units": "us", "log": log | {"rates": [0.0, *rates[1:]]}, "held": 1650},
    )
    assert answer.status_code == 200
    assert answer.json() == nothing.json()


def test_zero_has_no_sign():
    class Heights(Part):
        depths: list[Annotated[float, Measure("length")]] = Field(description="Depths.")

    for count in (1, 300):
        shown = to_display(Heights(depths=[-0.0] * count), "metric", 25.4)
        assert "-" not in shown.model_dump_json()
    depth = Measure("length", Range("depth", 1.0, 2.0, "m", "a test"))
    assert "depth 0 m is outside" in outside_words(-0.0, depth, "metric", 25.4)


def test_infinity_written_as_a_large_number_is_refused(toys):
    body = b'{"units": "us", "temperature": 1e400}'
    answer = toys.post("/v1/toy", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/temperature"
    assert "value" not in answer.json()["errors"][0]


@pytest.mark.parametrize("key", ["k" * 10_000, "a\\u0000b"])
def test_a_field_whose_name_cannot_be_repeated_is_told_by_its_place(toys, key):
    body = f'{{"units": "us", "temperature": 50, "layers": [{{"depth": 1, "{key}": 1}}]}}'
    answer = toys.post("/v1/toy", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/layers/0"
    assert len(answer.content) < 1000


@pytest.mark.parametrize("charset", ["utf-8", '"UTF-8"', "utf8", "us-ascii"])
@pytest.mark.parametrize(
    "media_type", ["application/json; profile=farm", "text/csv; header=present"]
)
def test_only_the_charset_of_a_media_type_is_asked_about(toys, media_type, charset):
    content = b'{"units": "us", "temperature": 50}' if "json" in media_type else b"50"
    for kind, status in ((f"{media_type}; charset={charset}", 200),
                         (f"{media_type}; charset=iso-8859-1", 415)):  # fmt: skip
        answer = toys.post("/v1/toy", content=content, headers={"content-type": kind})
        assert answer.status_code == status, kind


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        ("image/svg+xml", "image/svg+xml"),
        ("image/*", "image/svg+xml"),
        ("image/avif, image/svg+xml, image/*, */*;q=0.8", "image/svg+xml"),
        ("application/json;q=0.5, image/svg+xml;q=0.9", "image/svg+xml"),
        ("image/svg+xml;q=0.1, application/json", "application/json"),
        ("image/svg+xml;q=0, */*", "application/json"),
        ("text/html, */*;q=0.8", "application/json"),
        ("text/html", "application/json"),
        ("", "application/json"),
    ],
)
def test_the_form_of_the_answer_is_the_one_the_caller_likes_best(toys, accept, kind):
    headers = {"accept": accept}
    answer = toys.post("/v1/toy", json={"units": "us", "temperature": 50}, headers=headers)
    assert answer.headers["content-type"] == kind


@pytest.mark.parametrize("media_type", ["text/plain", "application/xml", "", "application/jsonx"])
def test_another_media_type_is_refused(toys, media_type):
    answer = toys.post("/v1/toy", content=b"{}", headers={"content-type": media_type})
    assert answer.status_code == 415
    assert "application/json" in answer.headers["accept-post"]


def test_a_body_past_the_limit_is_refused_declared_or_streamed(toys):
    big = b" " * 20_001
    headers = {"content-type": "application/json"}
    assert toys.post("/v1/toy", content=big, headers=headers).status_code == 413
    streamed = toys.post("/v1/toy", content=iter([big[:10_000], big[10_000:]]), headers=headers)
    assert streamed.status_code == 413
    assert streamed.json()["type"].endswith("body-too-large")


def test_errors_of_the_library_become_problems_that_point(toys):
    answer = ask(toys, units="us", temperature=50, rate=1, mode="inconsistent")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/rate"
    answer = ask(toys, units="us", temperature=50, mode="diverge")
    assert answer.json()["type"].endswith("no-trustworthy-answer")


def test_a_failure_of_the_service_tells_nothing_of_itself(toys):
    answer = ask(toys, units="us", temperature=50, mode="crash")
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert answer.json()["request_id"] == answer.headers["x-request-id"]


def test_unknown_paths_and_methods_are_problems(toys):
    missing = toys.get("/v1/nothing")
    assert (missing.status_code, missing.json()["type"]) == (404, "urn:outfeed:problem:not-found")
    wrong = toys.get("/v1/toy")
    assert wrong.status_code == 405
    assert wrong.headers["allow"] == "POST"
    assert toys.post("/v1/grains").headers["allow"] == "GET, HEAD"


def test_unread_query_parameters_are_refused(toys):
    answer = toys.post("/v1/toy?units=us", json={"units": "us", "temperature": 50})
    assert answer.status_code == 422


def test_other_media_types_are_read_and_written_where_a_route_offers_them(toys):
    answer = toys.post(
        "/v1/toy", content=b"50", headers={"content-type": "text/csv", "accept": "image/svg+xml"}
    )
    assert answer.headers["content-type"] == "image/svg+xml"
    assert answer.content == b"<svg/>"
    assert answer.headers["vary"] == "Accept"


def test_the_request_id_of_the_caller_is_kept_when_harmless(toys):
    assert (
        toys.get("/health/live", headers={"x-request-id": "a-1"}).headers["x-request-id"] == "a-1"
    )
    assert (
        toys.get("/health/live", headers={"x-request-id": "a b"}).headers["x-request-id"] != "a b"
    )


def test_a_full_house_answers_busy_but_its_probes_answer():
    app = create_app(Settings(max_in_flight=0))
    client = TestClient(app, raise_server_exceptions=False)
    busy = client.get("/openapi.json")
    assert busy.status_code == 503
    assert busy.headers["retry-after"] == "2"
    assert client.get("/health/live").status_code == 200


def test_a_draining_service_is_live_but_not_ready():
    app = create_app(Settings())
    client = TestClient(app, raise_server_exceptions=False)
    assert client.get("/health/ready").status_code == 200
    app.state.draining = True
    assert client.get("/health/ready").status_code == 503
    assert client.get("/health/live").status_code == 200


def test_a_text_with_characters_that_cannot_be_printed_is_refused_by_name(toys):
    answer = ask(toys, units="us", temperature=50, mode="a\u202eb")
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert error["pointer"] == "/mode"
    assert "value" not in error


def test_a_default_is_si_whatever_the_callers_units():
    class Warm(Request):
        rise: Annotated[float, Measure("temperature-difference")] = Field(9.0, description="Rise.")

    for units, given in (("us", 16.2), ("metric", 9.0)):
        assert to_si(Warm(units=units)).rise == 9.0
        assert to_si(Warm(units=units, rise=given)).rise == pytest.approx(9.0)


@pytest.mark.parametrize("path", ["/v1/grains", "/health/live", "/openapi.json"])
def test_head_answers_as_get_without_a_body(toys, path):
    whole, head = toys.get(path), toys.head(path)
    assert head.status_code == whole.status_code == 200
    assert head.content == b""
    assert head.headers["content-length"] == str(len(whole.content))
    assert toys.head("/v1/toy").status_code == 405


@pytest.mark.parametrize("encoding", ["gzip", "br", "GZIP"])
def test_a_compressed_body_is_refused_as_such(toys, encoding):
    answer = toys.post("/v1/toy", content=b"{}", headers={"Content-Encoding": encoding})
    assert answer.status_code == 415
    assert answer.json()["type"].endswith("unsupported-media-type")
    assert answer.headers["Accept-Encoding"] == "identity"


def test_an_idle_connection_outlives_the_minute_that_balancers_keep_it():
    assert configuration(create_app(Settings()), Settings()).timeout_keep_alive > 60


def test_requests_in_flight_are_given_the_time_of_a_long_computation_at_shutdown():
    settings = Settings()
    assert settings.drain_limit > settings.heavy_deadline


async def exchange(app, path: str, *messages: dict, cancelled_after: float | None = None) -> dict:
    """What the application answers to a client that sends `messages` and then only listens."""
    coming, sent = list(messages), []

    async def receive() -> dict:
        if not coming:
            return await asyncio.Event().wait()
        time.sleep(0.03 if coming[0] is LATE else 0.0)  # holds the loop: work ends meanwhile
        return coming.pop(0)

    async def send(message: dict) -> None:
        sent.append(message)

    headers = [(b"content-type", b"application/json")]
    scope = {"type": "http", "method": "POST", "path": path, "headers": headers,
             "query_string": b"", "http_version": "1.1", "scheme": "http",
             "server": ("test", 80), "client": None, "root_path": ""}  # fmt: skip
    task = asyncio.create_task(app(scope, receive, send))
    if cancelled_after is not None:
        await asyncio.sleep(cancelled_after)
        task.cancel()
    await task
    return sent[0] | {"problem": json.loads(sent[1]["body"])}


QUESTION = {"type": "http.request", "body": b'{"units": "metric", "temperature": 10}'}
GONE = {"type": "http.disconnect"}
LATE = dict(GONE)


@pytest.mark.parametrize(
    ("messages", "why"),
    [((QUESTION, GONE), "while computing"), ((QUESTION | {"more_body": True}, GONE), "sending")],
)
def test_a_caller_who_hangs_up_is_no_failure_of_the_service(caplog, messages, why):
    app = create_app(Settings(heavy_deadline=0.5))
    app.router.routes.extend(router.routes)
    answer = asyncio.run(exchange(app, "/v1/endless", *messages))
    assert answer["status"] == 499, why
    assert not [record for record in caplog.records if record.levelname == "ERROR"]


def test_an_error_told_to_a_caller_who_hung_up_is_not_logged_as_unheard(caplog):
    app = create_app(Settings())
    app.router.routes.extend(router.routes)
    wrong = QUESTION | {"body": b'{"units": "metric", "temperature": 9999}'}
    answer = asyncio.run(exchange(app, "/v1/steer", wrong, LATE))
    gc.collect()
    assert answer["status"] in (422, 499)
    assert not [record for record in caplog.records if "never retrieved" in record.message]


def test_long_bodies_are_refused_while_others_fill_the_memory_and_short_ones_are_not():
    async def crowd() -> list[int]:
        app = create_app(Settings(max_held_bytes=3_000_000, heavy_deadline=0.5))
        app.router.routes.extend(router.routes)
        long = QUESTION | {"body": QUESTION["body"] + b" " * 2_000_000}
        first = asyncio.create_task(exchange(app, "/v1/endless", long))
        await asyncio.sleep(0.05)
        together = [await exchange(app, "/v1/steer", asked) for asked in (long, QUESTION)]
        await first
        after = await exchange(app, "/v1/steer", long)
        return [answer["status"] for answer in (*together, after)]

    assert asyncio.run(crowd()) == [503, 200, 200]


def test_a_steering_question_does_not_wait_for_a_plan():
    async def plan_then_steer() -> dict:
        app = create_app(Settings(max_heavy=1, max_heavy_waiting=1, heavy_deadline=0.5))
        app.router.routes.extend(router.routes)
        plans = [asyncio.create_task(exchange(app, "/v1/endless", QUESTION)) for _ in range(2)]
        await asyncio.sleep(0.05)
        answer = await exchange(app, "/v1/steer", QUESTION)
        assert not any(plan.done() for plan in plans)
        await asyncio.gather(*plans)
        return answer

    assert asyncio.run(plan_then_steer())["status"] == 200


def test_a_request_cut_off_by_a_shutdown_is_told_to_come_back():
    app = create_app(Settings(heavy_deadline=5))
    app.router.routes.extend(router.routes)
    answer = asyncio.run(exchange(app, "/v1/endless", QUESTION, cancelled_after=0.05))
    assert answer["status"] == 503
    assert answer["problem"]["type"].endswith("busy")
    assert (b"retry-after", b"5") in answer["headers"]
