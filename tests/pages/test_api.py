"""What programs are promised: the addresses that OpenAPI describes answer as it says, whatever they are asked."""

import hashlib
import json
import shutil
from pathlib import Path
from typing import Any, TypeAlias

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import BaseSchema, GenerationMode
from schemathesis.core.result import Ok
from schemathesis.schemas import APIOperation
from starlette.testclient import TestClient

from seed_data.demo import MERLE
from server.app import create_app
from server.settings import Settings

EXAMPLES = 40
Operation: TypeAlias = "APIOperation[Any, Any, Any, Any]"
DESCRIBED = "/api/v1/openapi.json"


@pytest.fixture(scope="module")
def described(demo_folder: Path) -> BaseSchema:
    """The promise, as it is given out, over the demo."""
    house = Settings(data=demo_folder, keeper="Test keeper", allowed_hosts=["testserver"], log_level="error")
    return schemathesis.openapi.from_asgi(DESCRIBED, create_app(house))


@given(data=st.data())
@settings(max_examples=EXAMPLES)
def test_every_answer_is_one_that_was_promised(described: BaseSchema, data: st.DataObject) -> None:
    """No fault of the program, no status, type or shape that the description does not name."""
    operations = [found.ok() for found in described.get_all_operations() if isinstance(found, Ok)]
    case = data.draw(data.draw(st.sampled_from(operations)).as_strategy())
    case.call_and_validate()


@pytest.fixture(scope="module")
def operations(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Operation]:
    """Every operation, reading and writing, over a demo of this module's own."""
    folder = Path(shutil.copytree(demo_folder, tmp_path_factory.mktemp("api") / "demo"))
    house = Settings(data=folder, keeper="Test keeper", allowed_hosts=["testserver"], log_level="error")
    described = schemathesis.openapi.from_asgi(DESCRIBED, create_app(house))
    return [found.ok() for found in described.get_all_operations() if isinstance(found, Ok)]


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
def test_no_operation_fails_whatever_it_is_sent(operations: list[Operation], mode: GenerationMode) -> None:
    """What the description allows and what it does not, at a machine that is there and at any other."""
    asked = set()

    @given(data=st.data())
    @settings(max_examples=EXAMPLES * 3, derandomize=True, suppress_health_check=list(HealthCheck))
    def ask(data: st.DataObject) -> None:
        operation = data.draw(st.sampled_from([one for one in operations if _can(one, mode)]))
        case = data.draw(operation.as_strategy(generation_mode=mode))
        if "tag" in case.path_parameters and data.draw(st.booleans()):
            case.path_parameters["tag"] = MERLE
        asked.add(operation.label)
        assert case.call(headers={"Host": "testserver"}).status_code < 500

    ask()

    assert asked == {one.label for one in operations if _can(one, mode)}
    assert asked


def _can(operation: Operation, mode: GenerationMode) -> bool:
    """Whatever a tag is, it is a text: only what takes more than that can be sent something wrong."""
    return mode is GenerationMode.POSITIVE or bool(operation.body or operation.query)


def test_a_machine_that_is_there_is_told_as_promised(described: BaseSchema) -> None:
    """The record of each machine of the demo has the shape that the description gives it."""
    operation = described["/api/v1/machines/{tag}"]["GET"]

    answers = [operation.Case(path_parameters={"tag": tag}).call_and_validate() for tag in (MERLE, "MON-02")]

    assert [answer.status_code for answer in answers] == [200, 200]


def test_only_what_programs_use_is_described(demo_client: TestClient) -> None:
    """Pages are for people; each address for programs says what it answers when there is nothing to give."""
    described = demo_client.get(DESCRIBED).json()

    assert {path for path in described["paths"] if not path.startswith("/api/v1/")} == set()
    asked = [told for path, one in described["paths"].items() if "{" in path for told in one.values()]
    assert asked
    assert all("404" in told["responses"] for told in asked)


def test_the_record_of_a_machine_is_the_bytes_that_its_sheet_vouches_for(demo_client: TestClient) -> None:
    """Canonical JSON whose digest stands on the mod sheet."""
    record = demo_client.get(f"/api/v1/machines/{MERLE}")
    sheet = demo_client.get(f"/machines/{MERLE}/sheet")

    assert record.headers["content-type"] == "application/json"
    assert hashlib.sha256(record.content).hexdigest() in sheet.text
    assert json.loads(record.content)["machine"]["tag"] == MERLE


@pytest.mark.parametrize("tag", ["none", "%00", "x" * 5_000, "..%2F..", "%ED%A0%80"])
def test_what_is_not_there_is_said_in_one_sentence(demo_client: TestClient, tag: str) -> None:
    """As JSON, like every answer to a program."""
    answer = demo_client.get(f"/api/v1/machines/{tag}")

    assert answer.status_code == 404
    assert list(answer.json()) == ["detail"]
