"""What the server says of itself in OpenAPI: every route with what it takes and what it may answer.

FastAPI describes the addresses. What a page of forms takes and gives is added here: forms carry a token, changes lead
on to a page (303), and what went wrong is told as a page, or as JSON where that was asked for.
"""

from __future__ import annotations

import typing
from collections.abc import Iterable, Mapping
from typing import Any

from fastapi import APIRouter, FastAPI
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from fastapi.routing import APIRoute

from fieldnote.web.asking import TOKEN_FIELD, TOKEN_HEADER
from fieldnote.web.guard import SAFE_METHODS

_FAULTS = {
    "400": "The request cannot be read.",
    "401": "Nobody is signed in.",
    "403": "Not from a page of this server, or the sign-in does not allow it.",
    "404": "There is no such thing.",
    "408": "Nothing more came for a while.",
    "409": "Something stands against it: a name that is taken, or somebody changed the same meanwhile.",
    "413": "Too large.",
    "421": "This server has another name.",
    "422": "It cannot be done as it was put.",
    "429": "Too often.",
    "503": "Something that is needed for it is not there.",
}
_ERROR = {
    "type": "object",
    "required": ["error"],
    "properties": {
        "error": {
            "type": "object",
            "required": ["what", "where", "do"],
            "properties": {name: {"type": "string"} for name in ("what", "where", "do")},
        }
    },
}
_TEXT = {"schema": {"type": "string"}}
_UPLOADS = {"sound": "recording", "photos": "photo"}
"""The field of the file, by the end of the path of what takes one."""


def describe(app: FastAPI, routers: Iterable[APIRouter]) -> None:
    """Let the application describe itself whole."""
    plain = app.openapi
    routes = [route for router in routers for route in router.routes if isinstance(route, APIRoute)]
    answers = {(route.path, method.lower()): _answer_of(route) for route in routes for method in route.methods or ()}

    def whole() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _completed(plain(), answers)
        return app.openapi_schema

    app.openapi = whole  # type: ignore[method-assign]


def _answer_of(route: APIRoute) -> Any:
    return typing.get_type_hints(route.endpoint).get("return", Response)


def _completed(said: dict[str, Any], answers: Mapping[tuple[str, str], Any]) -> dict[str, Any]:
    faults = {
        code: {
            "description": why,
            "content": {
                "text/html": _TEXT,
                "text/plain": _TEXT,
                "application/json": {"schema": {"$ref": "#/components/schemas/Fault"}},
            },
        }
        for code, why in _FAULTS.items()
    }
    said["components"] = {"schemas": {"Fault": _ERROR}, "responses": {f"Fault{code}": f for code, f in faults.items()}}
    for path, operations in said["paths"].items():
        for method, operation in operations.items():
            changes = method.upper() not in SAFE_METHODS
            operation["responses"] = {
                **_success(operation["responses"], answers[path, method], changes),
                **{code: {"$ref": f"#/components/responses/Fault{code}"} for code in _FAULTS},
            }
            if changes:
                operation["requestBody"] = _form(path)
                operation.setdefault("parameters", []).append(
                    {"name": TOKEN_HEADER, "in": "header", "required": False, "schema": {"type": "string"},
                     "description": "The token of a page of this server, where no field carries it."}
                )  # fmt: skip
    return said


def _success(given: dict[str, Any], answer: Any, changes: bool) -> dict[str, Any]:
    on = {
        "303": {"description": "Done: go on to another page.", "headers": {"location": {"schema": {"type": "string"}}}}
    }
    if answer is RedirectResponse:
        return on
    if answer is HTMLResponse:
        return {"200": {"description": "A page.", "content": {"text/html": _TEXT}}}
    if isinstance(answer, type) and issubclass(answer, Response):
        content: dict[str, Any] = {"text/html": _TEXT, "application/json": {"schema": {"type": "object"}}}
        if changes:
            return {"200": {"description": "A page, or what was done.", "content": content}, **on}
        parts = {"206": {"description": "The bytes that were asked for.", "content": {"*/*": {}}}}
        return {"200": {"description": "A file or a page.", "content": {"*/*": {}}}, **parts, **on}
    return {"200": given["200"]}


def _form(path: str) -> dict[str, Any]:
    token = {"type": "string", "pattern": "^[0-9a-f]{64}$", "description": "The token of a page of this server."}
    form: dict[str, Any] = {
        "type": "object", "properties": {TOKEN_FIELD: token}, "additionalProperties": {"type": "string"},
    }  # fmt: skip
    file = _UPLOADS.get(path.rpartition("/")[2])
    if file is None:
        return {"content": {"application/x-www-form-urlencoded": {"schema": form}}, "required": True}
    form["properties"] |= {file: {"type": "string", "format": "binary"}}
    return {"content": {"multipart/form-data": {"schema": form}}, "required": True}


__all__ = ["describe"]
