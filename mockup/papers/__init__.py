"""Floor 4: sheets of variants, approvals, and the records that go with them."""
