"""What the columns of a table are: headers, units, numbers, column maps; from rows of cells to SI figures."""
