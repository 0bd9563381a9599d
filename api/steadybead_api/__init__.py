"""The HTTP side: routes, live feed, and the composition of the whole product."""
