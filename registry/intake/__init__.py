"""Reading anybody's table: CSV or a workbook, its headings mapped to ours, every cell typed or named in the report."""
