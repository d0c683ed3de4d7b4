"""The terminal view: what `watch` shows and `rehearse` prints. A client of the bus like any other."""
