"""When and what: modes, conditions, and the findings where one is broken."""
