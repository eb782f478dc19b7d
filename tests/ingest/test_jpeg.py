"""How strongly a JPEG is compressed, by its own tables."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import example_archive
from ingest.decode import read_photo
from ingest.flags import FLAGS_THAT_STOP_A_VERDICT
from ingest.jpeg import SUM_OF_K1, compression_flags, jpeg_header, luma_sum
from ingest.pipeline import measure_photo

DEMO = Path(example_archive.__file__).parent
STRONG = "strongly compressed"
BOTH = {STRONG, "compressed beyond use"}


def coded(quality: int) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.zeros((32, 32, 3), np.uint8)).save(out, "JPEG", quality=quality)
    return out.getvalue()


@pytest.mark.parametrize(
    ("quality", "flags"), [(92, set()), (50, set()), (45, {STRONG}), (20, {STRONG}), (15, BOTH)]
)
def test_strong_compression_is_read_off_the_tables(quality, flags):
    found = jpeg_header(coded(quality)).luma_sum
    assert found == sum(Image.open(io.BytesIO(coded(quality))).quantization[0])
    assert compression_flags(found) == flags
    assert flags & FLAGS_THAT_STOP_A_VERDICT == flags - {STRONG}


def test_quality_50_is_the_standards_example():
    assert jpeg_header(coded(50)).luma_sum == SUM_OF_K1


def test_tables_of_16_bits_and_several_in_one_segment():
    first, second = bytes([1]) + bytes(64), bytes([0x10]) + (300).to_bytes(2, "big") * 64
    assert luma_sum(first + second) == 300 * 64
    assert luma_sum(first) is None
    assert luma_sum(second[:50]) is None  # cut off
    assert not compression_flags(None)


def test_yarn_in_a_strongly_compressed_file_has_no_class(tmp_path):
    path = tmp_path / "furrow-1.jpg"
    Image.open(DEMO / "furrow-1.jpg").convert("RGB").save(path, "JPEG", quality=30)
    marks = (DEMO / "furrow-1.marks.json").read_bytes()
    path.with_name("furrow-1.marks.json").write_bytes(marks)
    assert "strongly compressed" in read_photo(path).flags
    (swatch,) = measure_photo(path).swatches
    assert swatch.tonality["class"] is None and "evenness not judged" in swatch.flags
    assert any("compressed" in reason for reason in swatch.tonality["reasons"])
