"""Standard error while libraries decode: theirs is kept, everyone else's passed on."""

import os

import pytest

from ingest.quiet import captured_stderr, opencv_warnings


def test_library_lines_are_kept_and_others_passed_on(capfd):
    with captured_stderr() as said:
        os.write(2, b"Corrupt JPEG data: 5 extraneous bytes before marker 0xd9\n")
        os.write(2, b"a word of our own\n")
    assert said.text.startswith("Corrupt JPEG data: 5")
    assert capfd.readouterr().err == "a word of our own\n"


def test_standard_error_comes_back_after_an_error(capfd):
    with pytest.raises(KeyError), captured_stderr():
        raise KeyError
    os.write(2, b"still here\n")
    assert capfd.readouterr().err == "still here\n"


def test_the_log_of_opencv_tells_warnings_inside_and_is_as_before_afterwards():
    import cv2

    log = cv2.utils.logging
    before = log.getLogLevel()
    log.setLogLevel(log.LOG_LEVEL_SILENT)
    try:
        with opencv_warnings():
            assert log.getLogLevel() == log.LOG_LEVEL_WARNING
        assert log.getLogLevel() == log.LOG_LEVEL_SILENT
    finally:
        log.setLogLevel(before)
