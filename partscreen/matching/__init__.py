"""Which parts go together: pairs, groups, channel sets, yield."""
