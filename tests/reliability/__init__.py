"""What archive and decoder promise, under attack; `python -m tests.reliability` for long runs."""
