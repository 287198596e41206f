"""Conditions and a question to one labelled dataset: planned in blocks, run anywhere, stored as it grows, resumed."""
