"""How true colours, stated doubts and verdicts are, measured on a spectral simulation.

Reflectances are known, cameras and lights are those of `tests.render`, and the correction, the
doubt and the verdict are the project's own code. Run ``python -m tests.simulation report``.
"""
