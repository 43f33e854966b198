"""The examples in docs/http.md do what they say."""

from __future__ import annotations

import itertools
import json
import re
import shlex
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

PAGE = Path(__file__).resolve().parents[2] / "docs" / "http.md"


def _examples() -> list[list[str]]:
    blocks = re.findall(r"```sh\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    lines = [line for block in blocks for line in block.replace("\\\n", " ").splitlines()]
    return [shlex.split(line, comments=True) for line in lines if line.startswith("curl")]


@pytest.mark.parametrize("words", _examples(), ids=lambda words: " ".join(words)[:60])
def test_curl_examples_hold(client: TestClient, words: list[str]) -> None:
    path = next(w for w in words if w.startswith("http")).removeprefix("http://127.0.0.1:8765")
    pairs = list(itertools.pairwise(words))
    body = next((value for option, value in pairs if option == "-d"), None)
    parts = [value.split("=", 1)[0] for option, value in pairs if option == "-F"]
    if body is not None:
        answer = client.post(path, json=json.loads(body) | ({} if "motors" in body else {"draws": 100}))
        assert answer.status_code == 200, answer.text
        return
    method = next((value for option, value in pairs if option == "-X"), "POST" if parts else "GET").lower()
    document = client.get("/v1/openapi.json").json()["paths"]
    known = [p for p in document if re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", p), path)]
    assert any(method in document[p] for p in known), path
    if parts:
        form = document[path]["post"]["requestBody"]["content"]["multipart/form-data"]["schema"]
        assert set(parts) <= set(form["properties"])
    elif "JOB" not in path:
        assert client.get(path).status_code == 200


def test_the_table_of_paths_is_the_documents(client: TestClient) -> None:
    rows = re.findall(r"^\| (`.*?`) \|", PAGE.read_text(encoding="utf-8"), re.M)
    told = set()
    for row in rows:
        method = ""
        for name in re.findall(r"`([^`]*)`", row):
            *verb, path = name.split(" ")
            method = verb[0] if verb else method
            told.add((method.lower(), path))
    document = client.get("/v1/openapi.json").json()["paths"]
    held = {(method, path) for path, operations in document.items() for method in operations}
    assert told == held | {("get", "/v1/openapi.json")}
