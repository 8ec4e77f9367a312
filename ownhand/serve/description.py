"""The back end described for machines, as OpenAPI 3.1 (spec.openapis.org/oas/v3.1.0)."""

from __future__ import annotations

from typing import Any, Protocol

from ownhand import __version__
from ownhand.composer.formats import FORMATS, MEDIA_TYPES
from ownhand.composer.settings.settings import Settings
from ownhand.composer.settings.settings_data import schema


class HasLimits(Protocol):
    """What the description says of limits."""

    @property
    def text_characters(self) -> int:
        """Longest text."""


def description(hands: list[str], limits: HasLimits, *, needs_token: bool) -> dict[str, Any]:
    """Return the OpenAPI document."""
    order = {
        "type": "object",
        "additionalProperties": False,
        "properties": {
            "text": {
                "description": "What to write; or a mapping from the names of boxes to their texts.",
                "anyOf": [
                    {"type": "string", "maxLength": limits.text_characters},
                    {"type": "object", "additionalProperties": {"type": "string"}},
                ],
            },
            "settings": {"$ref": "#/components/schemas/Settings"},
            "seed": {"type": "integer", "minimum": 0, "maximum": 2**63 - 1, "default": 0},
            "format": {"type": "string", "enum": list(FORMATS), "default": "svg"},
            "page": {"type": "integer", "minimum": 1, "maximum": 100_000, "default": 1},
            "machine": {"type": "object", "description": "A machine profile; see the README."},
            "dpi": {"type": "number", "minimum": 10, "maximum": 600, "default": 100},
        },
    }
    hand = {
        "name": "hand",
        "in": "path",
        "required": True,
        "schema": {"type": "string", "enum": hands},
    }
    files: dict[str, Any] = {kind.split(";")[0]: {} for kind in MEDIA_TYPES.values()}
    headers: dict[str, Any] = {
        name: {"schema": {"type": "integer"}, "description": words}
        for name, words in (
            ("Page-Count", "How many pages the text fills."),
            ("Missing-Characters", "How many characters the hand lacks."),
        )
    }
    headers["Missing"] = {
        "schema": {"type": "string"},
        "description": "Which they are, where there are any: '%C3%9F;times=3, %C8%99;times=1', each in per cents of "
        "its UTF-8. A gap is left in their place; /check names them before.",
    }
    body = {"required": True, "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Order"}}}}
    refusals = {
        "400": "Not JSON, or a wrong Host header.",
        "404": "No such hand.",
        "408": "The request did not come in time.",
        "413": "Too large.",
        "415": "Not application/json.",
        "422": "Something asked for is impossible.",
        "429": "Too many requests of this client are waiting; Retry-After says when to come back.",
        "500": "The page could not be made.",
        "503": "Busy, or not done in time; Retry-After says when to come back.",
        **({"401": "No token, or a wrong one."} if needs_token else {}),
    }
    error = {"application/json": {"schema": {"$ref": "#/components/schemas/Error"}}}
    refused = {code: {"description": words, "content": error} for code, words in refusals.items()}

    def operation(name: str, summary: str, answer: dict[str, Any], *, posts: bool) -> dict[str, Any]:
        out: dict[str, Any] = {"operationId": name, "summary": summary, "responses": {"200": answer}}
        if posts:
            return {**out, "parameters": [hand], "requestBody": body, "responses": {"200": answer, **refused}}
        few = {code: refused[code] for code in ("400", "401") if code in refused}
        return {**out, "responses": {"200": answer, **few}}

    anything = {"application/json": {"schema": {"type": "object"}}}
    document: dict[str, Any] = {
        "openapi": "3.1.0",
        "info": {
            "title": "ownhand",
            "version": __version__,
            "description": "Text in, pages in somebody's own handwriting out, ready to plot. Use a hand only as its "
            "owner agreed; never for signatures or cheques, nor to deceive.",
        },
        "paths": {
            "/hands": {
                "get": operation(
                    "hands", "The hands there are", {"description": "OK", "content": anything}, posts=False
                )
            },
            "/hands/{hand}/pages": {
                "post": operation(
                    "page",
                    "One page as a file",
                    {"description": "OK", "headers": headers, "content": files},
                    posts=True,
                )
            },
            "/hands/{hand}/check": {
                "post": operation(
                    "check", "What a text would become", {"description": "OK", "content": anything}, posts=True
                )
            },
        },
        "components": {
            "schemas": {
                "Order": order,
                "Settings": schema(Settings),
                "Error": {
                    "type": "object",
                    "properties": {"error": {"type": "string"}},
                    "required": ["error"],
                },
            }
        },
    }
    if needs_token:
        document["components"]["securitySchemes"] = {"token": {"type": "http", "scheme": "bearer"}}
        document["security"] = [{"token": []}]
    return document
