"""A rig and a flash image with firmware and settings, made once for all of these tests."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from steadyturn.model.band import Band, find_band
from steadyturn.rig.examples import example_path
from steadyturn.rig.file import read_rig
from steadyturn.rig.types import Rig
from steadyturn.settings.build import build
from steadyturn.settings.file import encode
from steadyturn.twin.prepare import firmware
from steadyturn.twin.twin import Twin


@pytest.fixture(scope="session")
def hut() -> Rig:
    path = example_path("lakeside-hut")
    assert path is not None
    return read_rig(path)


@pytest.fixture(scope="session")
def hut_band(hut: Rig) -> Band:
    return find_band(hut, deep=False)


@pytest.fixture(scope="session")
def hut_settings(hut: Rig, hut_band: Band) -> bytes:
    return encode(build(hut, hut_band))


@pytest.fixture(scope="session")
def firmware_files() -> dict[str, bytes]:
    return firmware()


@pytest.fixture(scope="session")
def _hut_image(
    hut: Rig, hut_settings: bytes, firmware_files: dict[str, bytes],
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    path = tmp_path_factory.mktemp("image") / "hut.img"
    twin = Twin(hut, image=path)
    twin.prepare(hut_settings, firmware_files)
    twin.stop()
    return path


@pytest.fixture
def hut_image(_hut_image: Path, tmp_path: Path) -> Path:
    """An image of one's own, as after `steadyturn flash`."""
    return Path(shutil.copy(_hut_image, tmp_path / "board.img"))
