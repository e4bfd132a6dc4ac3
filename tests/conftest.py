"""What several test files share."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from small_pack import write_pack

# The suite tries the same examples each time; `--hypothesis-profile=long` tries many new ones.
settings.register_profile("suite", derandomize=True, deadline=None)
settings.register_profile("long", deadline=None, max_examples=20_000, print_blob=True)
settings.load_profile("suite")

# No test, nor any program that one starts, may see the additions to packs of whoever runs it.
os.environ["VOICENOTES_OVERLAYS"] = str(Path(__file__).parent / "data" / "no-overlays")


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    """A folder with a small pack of its own."""
    return write_pack(tmp_path / "pack")


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Where a stand-in engine notes what it is given."""
    return tmp_path / "log"


@pytest.fixture(scope="session")
def tiny_model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    import tiny_whisper

    return tiny_whisper.build(tmp_path_factory.mktemp("whisper") / "tiny-test")


@pytest.fixture
def bare_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """No model anywhere; returns the folder that $VOICENOTES_MODELS names."""
    import huggingface_hub.constants
    import platformdirs

    models = tmp_path / "models"
    models.mkdir()
    monkeypatch.setenv("VOICENOTES_MODELS", str(models))
    monkeypatch.setattr(platformdirs, "user_data_path", lambda *_, **__: tmp_path / "user-data")
    monkeypatch.setattr(huggingface_hub.constants, "HF_HUB_CACHE", str(tmp_path / "hub"))
    return models


@pytest.fixture
def reached(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Every attempt to reach the network, which fails."""
    attempts: list[str] = []

    def refuse(name: str) -> Callable[..., Any]:
        def attempt(*args: object, **_: object) -> None:
            attempts.append(f"{name}{args}")
            raise OSError("no network in this test")

        return attempt

    monkeypatch.setattr(socket.socket, "connect", refuse("connect"))
    monkeypatch.setattr(socket.socket, "connect_ex", refuse("connect_ex"))
    monkeypatch.setattr(socket, "getaddrinfo", refuse("getaddrinfo"))
    monkeypatch.setattr(socket, "create_connection", refuse("create_connection"))
    return attempts
