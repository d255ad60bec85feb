"""Findings to what people read: tables, workbook, page, and the folder that holds them."""
