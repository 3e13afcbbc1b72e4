"""The bench book: an append-only, hash-chained record of parts, lots, jobs and what became of them."""
