"""The result as values, and what is written of them: text, JSON, tables, workbook, request."""
