"""Support for tests: simulated truths that import nothing from truekev.scale."""
