"""The tests by which values are judged, each in a module of its own."""
