"""Camera raw files: linear, turned once, of the camera's own matrix."""

import sys

import numpy as np
import pytest

from ingest import colour
from ingest.errors import PhotoError
from tests.ingest.photobytes import flat_dng, reader


@pytest.fixture
def read(tmp_path):
    return reader(tmp_path)


@pytest.mark.parametrize("neutral", [(1, 1, 1), (0.5, 1, 0.7)])
@pytest.mark.parametrize("rgb", [(0.2, 0.2, 0.2), (0.05, 0.3, 0.1), (0.4, 0.02, 0.2)])
def test_raw_is_linear_and_of_the_cameras_own_matrix(read, rgb, neutral):
    pytest.importorskip("rawpy", reason="camera raw needs the extra 'raw'")
    photo = read(flat_dng(rgb, neutral), "x.tif")
    assert photo.format == "raw"
    assert photo.flags == {"raw"}
    assert "linear" in photo.encoding.name
    assert photo.pixels.dtype == np.uint16
    xyz = photo.encoding.curve[photo.pixels[32, 48], np.arange(3)] @ photo.encoding.to_xyz.T
    wanted = colour.xyz_to_lab(colour.SRGB_TO_XYZ @ np.array(rgb))
    assert colour.delta_e_2000(colour.xyz_to_lab(xyz), wanted) < 0.1


def test_twice_the_light_is_twice_the_code_in_raw(read):
    pytest.importorskip("rawpy", reason="camera raw needs the extra 'raw'")
    dim, bright = (
        read(flat_dng((v, v, v), (0.6, 1, 0.8))).pixels[32, 48].astype(float) for v in (0.1, 0.2)
    )
    assert bright / dim == pytest.approx([2, 2, 2], rel=2e-3)


def test_raw_is_turned_once(read):
    pytest.importorskip("rawpy", reason="camera raw needs the extra 'raw'")
    photo = read(flat_dng((0.2, 0.2, 0.2), (1, 1, 1), orientation=6))
    assert (photo.width, photo.height) == (64, 96)


def test_without_the_extra_raw_says_how_to_install_it(read, monkeypatch):
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(PhotoError, match=r"swatchvault\[raw\]"):
        read(flat_dng((0.2, 0.2, 0.2), (1, 1, 1)))


def test_a_cut_raw_is_refused(read, capfd):
    pytest.importorskip("rawpy", reason="camera raw needs the extra 'raw'")
    whole = flat_dng((0.2, 0.2, 0.2), (1, 1, 1))
    for cut in (len(whole) // 2, 100, 20):
        with pytest.raises(PhotoError):
            read(whole[:cut])
    assert capfd.readouterr() == ("", "")
