"""A price sheet and a file of pieces that were mutilated: taken as meant, or one plain line."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from analysis.errors import WorkbookError
from analysis.pricing.pieces_file import read_pieces
from analysis.pricing.price_sheet_reader import read_price_sheet
from analysis.settings import Settings
from tests.hostile.fuzz import PIECES, price_sheet
from tests.hostile.mutate import NASTY, spoil_cells, spoil_text, spoil_workbook


@pytest.mark.parametrize("seed", range(60))
def test_a_mutilated_price_sheet(seed: int, tmp_path: Path) -> None:
    path = tmp_path / "review.xlsx"
    path.write_bytes(spoil_workbook(random.Random(seed), price_sheet()))
    try:
        sheet = read_price_sheet(path)
    except WorkbookError as error:
        assert "review.xlsx" in str(error)
        assert "\n" not in str(error)
    else:
        assert (sheet.rows["own_service"] != "").all()


@pytest.mark.parametrize("column", range(7))
def test_every_nasty_cell_of_a_pieces_file(column: int, tmp_path: Path) -> None:
    path = tmp_path / "pieces.csv"
    header, row = PIECES.decode().splitlines()
    for value in NASTY:
        cells = row.split(",")
        cells[column] = '"' + value.replace('"', '""') + '"'
        path.write_text(f"{header}\n{','.join(cells)}\n", encoding="utf-8", newline="")
        refused_or_whole(path)


def test_a_damaged_pieces_file(tmp_path: Path) -> None:
    path = tmp_path / "pieces.csv"
    for seed in range(300):
        draw = random.Random(seed)
        path.write_bytes(draw.choice((spoil_cells, spoil_text))(draw, PIECES))
        refused_or_whole(path)


def test_a_long_name_of_a_column_is_cut_in_the_message(tmp_path: Path) -> None:
    path = tmp_path / "pieces.csv"
    path.write_bytes(b"x" * 100_000 + b",length\n1,2\n")
    with pytest.raises(WorkbookError, match=r"pieces\.csv, row 1") as caught:
        read_pieces(path, Settings(), None, [])
    assert len(str(caught.value)) < 500


def refused_or_whole(path: Path) -> None:
    try:
        sets = read_pieces(path, Settings(), None, ["NK-GLOSS-WHITE"])
    except WorkbookError as error:
        assert path.name in str(error)
        assert "\n" not in str(error)
        str(error).encode()
    else:
        pieces = [piece for found in sets for piece in found.pieces]
        assert pieces
        assert all(0 < piece.length_m <= 1e7 and 0 < piece.width_m <= 1e7 for piece in pieces)
