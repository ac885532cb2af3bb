"""The rule book on the page: its table, one rule's form, and what a change of it moves."""
