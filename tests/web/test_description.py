"""Every route answers as its OpenAPI description says, whatever is sent to it: checked by schemathesis.

The description knows what a form is; which fields stand in it is read off the pages, so that a form added later is
tried without a word here. Hypothesis makes up the rest.
"""

from __future__ import annotations

import re
import socket
import threading
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

pytest.importorskip("schemathesis", reason="pip install schemathesis")

import schemathesis
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from fieldnote.web.limits import Pace
from fieldnote.web.roles import ROLES
from fieldnote.web.sign_in import COOKIE
from tests.web.conftest import Shop, token_of

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
ENDS_THE_SIGN_IN = ("/sign-out",)
SKIPPED = ("/guide/", "/patterns/files/", "/patterns?", "/patterns/jobs")
"""Pages that take long and hold no form that is not on another."""


class Forms(HTMLParser):
    """The forms of a page: where each goes, and what its fields may hold."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, set[str]]]] = []
        self.links: set[str] = set()
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.found.append((has.get("action", ""), {}))
        elif tag == "a" and has.get("href", "").startswith("/"):
            self.links.add(has["href"].split("#")[0])
        elif tag in ("input", "textarea", "button", "select") and has.get("name") and self.found:
            self._select = has["name"] if tag == "select" else ""
            self.found[-1][1].setdefault(has["name"], set()).update({has["value"]} if has.get("value") else set())
        elif tag == "option" and self._select:
            self.found[-1][1][self._select].add(has.get("value", ""))


@dataclass
class Running:
    """The server, who asks, and the description with the fields of its pages."""

    shop: Shop
    schema: Any
    ids: dict[str, list[str]]
    token: str

    def headers(self) -> dict[str, str]:
        """Of somebody who is signed in, with the token of a page; signed in anew where the last request ended that."""
        people = self.shop.people
        if people.signed_in(self.token) is None:
            self.token = people.begin(people.find("Lu"), "a test")
        person = people.find("Lu")
        token = self.shop.app.state.house.token(f"person {person.id}")
        return {"cookie": f"{COOKIE}={self.token}", "x-fieldnote-token": token}


@pytest.fixture
def running(shop: Shop) -> Iterator[Running]:
    """The application on a port of its own, with somebody signed in who may do everything, at any pace."""
    import uvicorn

    shop.people.give_roles("Lu", ROLES)
    shop.app.state.sign_in.pace = Pace("1000000 per 1 minute", "1000000 per 1 minute")
    listening = socket.create_server(("127.0.0.1", 0))
    host = f"127.0.0.1:{listening.getsockname()[1]}"
    stack: Any = shop.app.user_middleware
    next(m for m in stack if m.cls.__name__ == "Guard").kwargs["hosts"] = frozenset([host, "shop-pc.local:8460"])
    server = uvicorn.Server(uvicorn.Config(shop.app, log_level="critical", timeout_graceful_shutdown=1))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    described, ids = with_fields(shop, shop.app.openapi())
    schema = schemathesis.openapi.from_dict(described)
    schema.config.update(base_url=f"http://{host}")
    schema.config.generation.update(modes=[GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
    yield Running(shop, schema, ids, "")
    server.should_exit = True
    thread.join(20)
    listening.close()


def with_fields(shop: Shop, described: dict[str, Any]) -> tuple[dict[str, Any], dict[str, list[str]]]:
    """The description with the fields of the forms on the pages; and the ids that are in their links, by name."""
    client, forms = shop.client("Lu"), Forms()
    job = shop.job()
    seen, waiting = set[str](), ["/", "/new", "/words", f"/jobs/{job.id}/entries/{job.entries[0].id}", "/you", "/join"]
    while waiting and len(seen) < 40:
        path = waiting.pop(0)
        if path in seen or path.startswith(SKIPPED):
            seen.add(path)  # its address is enough
            continue
        seen.add(path)
        answer = client.get(path)
        if "text/html" in answer.headers.get("content-type", ""):
            forms.feed(answer.text)
            # Of jobs and entries one each is enough.
            waiting += sorted(link for link in forms.links - seen if "/jobs/" not in link or job.id in link)
    values: dict[str, set[str]] = {}
    paths = described["paths"]
    for at in [*seen, *(action for action, _ in forms.found)]:
        for path in paths:
            found = re.fullmatch(re.sub(r"{(\w+)}", r"(?P<\1>[^/?]+)", path), at.split("?")[0])
            for name, value in (found.groupdict() if found else {}).items():
                values.setdefault(name, set()).add(value)
    for path, operations in paths.items():
        fits = re.compile(re.sub(r"{\w+}", "[^/?]+", path))
        for method, operation in operations.items():
            if method != "get":
                (content,) = operation["requestBody"]["content"].values()
                content["schema"]["properties"].pop("token")  # it goes with the header, and is right
                for action, fields in forms.found:
                    if fits.fullmatch(action):
                        for name, given in fields.items():
                            if name != "token" and name not in content["schema"]["properties"]:
                                free = {"type": "string", "maxLength": 200}
                                known = [{"enum": sorted(given)}] if given else []
                                content["schema"]["properties"][name] = {"anyOf": [*known, free]}
    return described, {name: sorted(found) for name, found in values.items()}


def tried(running: Running, examples: int) -> Counter[int]:
    """Send so many made-up requests to each operation; how often each status was answered."""
    faults: list[str] = []
    answered: Counter[int] = Counter()
    operations = [result.ok() for result in running.schema.get_all_operations()]
    for operation in operations:
        if operation.path in ENDS_THE_SIGN_IN:
            continue

        @given(case=operation.as_strategy(), known=st.integers(0, 7))
        @settings(
            max_examples=examples,
            deadline=None,
            database=None,
            derandomize=examples < 50,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        def ask(case: Any, known: int) -> None:
            if known:  # mostly something that is there, so that more is tried than "there is no such job"
                ids = {name: found[known % len(found)] for name, found in running.ids.items()}
                case.path_parameters = {name: ids.get(name, made_up) for name, made_up in case.path_parameters.items()}
            answer = case.call(headers=running.headers(), allow_redirects=False, timeout=30)
            answered[answer.status_code] += 1
            case.validate_response(answer, checks=CHECKS)

        try:
            ask()
        except (Exception, BaseExceptionGroup) as fault:  # noqa: BLE001 - every operation is to be tried, then all faults told together
            faults.append(f"{operation.method.upper()} {operation.path}: {fault!s:.1500}")
    assert faults == [], "\n\n".join(faults)
    assert len(operations) >= 40
    return answered


@pytest.mark.slow
def test_every_route_answers_as_described(running: Running) -> None:
    """A few made-up requests to each: never a 500, only the answers that are described; some get all the way."""
    answered = tried(running, 4)
    print(answered)
    assert answered[200] > 20 and answered[303] > 5 and answered[422] > 5


@pytest.mark.soak
def test_every_route_answers_as_described_for_long(running: Running) -> None:
    """The same with 200 requests to each."""
    print(tried(running, 200))


def test_the_description_is_valid(shop: Shop) -> None:
    """OpenAPI 3.1, by the published JSON Schema of its version, as far as schemathesis checks it."""
    schema = schemathesis.openapi.from_dict(shop.app.openapi())
    schema.validate()
    assert shop.app.openapi()["openapi"].startswith("3.1")


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE"])
def test_a_method_that_a_page_does_not_have_is_told(shop: Shop, method: str) -> None:
    """405 with what is allowed (RFC 9110, section 15.5.6), and never an error of ours."""
    client = shop.client("Lu")
    headers = {"x-fieldnote-token": token_of(client, "/new")}
    answer = client.request(method, "/new", headers=headers)
    assert answer.status_code == 405
    assert answer.headers["allow"]
