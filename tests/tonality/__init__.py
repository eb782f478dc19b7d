"""The study behind the evenness figures: yarns drawn, photographed, measured, and compared."""
