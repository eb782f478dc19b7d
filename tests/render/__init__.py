"""The one renderer: spectra, cameras, yarn, scenes; used by the demo, simulations and tests."""
