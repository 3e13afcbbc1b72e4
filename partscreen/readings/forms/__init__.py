"""The forms a file comes in: text, workbook, JSON, Parquet; each reader hands on rows of cells."""
