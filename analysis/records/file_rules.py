"""The rules that the reading of files tells by, before a cell is looked at.

The words of each finding are the reader's own: it knows the place.
"""

from analysis.records.model import DOUBTFUL, REJECTED
from analysis.records.rule import Rule

NO_SETTINGS = Rule(
    "no-settings",
    DOUBTFUL,
    "A records folder without shop.toml; every setting has its default.",
    "Put a shop.toml beside the records, with at least currency, length_unit and area_unit.",
)
NOT_UTF_8 = Rule(
    "not-utf-8",
    DOUBTFUL,
    "A file that is not UTF-8 and was read as Windows-1252.",
    "Look at the names with accents; save the file as CSV (UTF-8).",
)
BROKEN_QUOTES = Rule(
    "broken-quotes",
    REJECTED,
    "A row with a quotation mark that is not closed.",
    "Close or delete the quotation mark.",
)
ROW_TOO_LONG = Rule(
    "row-too-long",
    REJECTED,
    "A row with more filled cells than the header has columns.",
    "Quote a cell that holds the separator, or clear the cells that are too many.",
)
ROWS_INSIDE_CELL = Rule(
    "rows-inside-cell",
    DOUBTFUL,
    "A cell that seems to have swallowed whole rows.",
    "Look for a stray quotation mark.",
)
TITLE_ABOVE_HEADER = Rule(
    "title-above-header",
    DOUBTFUL,
    "A first row that looks like a title and not like column names.",
    "Delete the title: the first row must hold the column names.",
)
COLUMN_WITHOUT_NAME = Rule(
    "column-without-name",
    DOUBTFUL,
    "A column with filled cells and no name; it is not read.",
    "Give the column a name, or clear it.",
)
ERROR_CELL = Rule(
    "error-cell",
    DOUBTFUL,
    "A workbook's cell with a spreadsheet's error mark.",
    "Mend the formula, or type the value.",
)
FORMULA_WITHOUT_VALUE = Rule(
    "formula-without-value",
    DOUBTFUL,
    "A workbook's formula that was never calculated.",
    "Open the workbook in a spreadsheet program and save it.",
)
MERGED_CELLS = Rule(
    "merged-cells",
    DOUBTFUL,
    "Merged cells, of which only the first holds the value.",
    "Unmerge them and fill in every cell.",
)
MACROS_IGNORED = Rule(
    "macros-ignored",
    DOUBTFUL,
    "A workbook with macros; they are not run.",
    "Nothing to do.",
)
SHEET_NOT_READ = Rule(
    "sheet-not-read",
    DOUBTFUL,
    "A sheet that is not read and seems to be meant for a table.",
    "Name the sheet as the table.",
)
FILE_NOT_READ = Rule(
    "file-not-read",
    DOUBTFUL,
    "A file that is not read and seems to be meant for a table.",
    "Name the file as the table, or move it out of the folder.",
)
FORMAT_NOT_READ = Rule(
    "format-not-read",
    DOUBTFUL,
    "A file with the name of a table in a format that is not read.",
    "Save it as CSV or .xlsx.",
)
EMPTY_FILE = Rule(
    "empty-file",
    DOUBTFUL,
    "A file or sheet with nothing in it; its table counts as absent.",
    "Fill it in, or delete it.",
)
