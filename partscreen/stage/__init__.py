"""The output stage the parts go into: load line, safe area, drive, bias, first power-up, substitutes."""
