"""Paper: the report, the cards, the scoring sheet, and the tables that go with them."""
