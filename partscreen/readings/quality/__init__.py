"""Can a reading stand: the checks of a batch, each with its threshold, reason and false-alarm test."""
