"""The second screen: a page that is a client of the bus, and the small server that hands it out."""
