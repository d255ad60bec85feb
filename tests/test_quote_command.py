"""`quote` as a person runs it: its words, its JSON, and how it ends."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.cli import main
from analysis.pricing.usual_price import UsualPrice
from analysis.report.quote_text import in_words, quote_lines, quoted_hours
from tests.pricing.test_quote import TOML, quoter_of, roof, small_shop
from tests.shops import write_shop

DEMO = Path(__file__).parents[1] / "data_demo"
ROOF = ("--service", "roof", "--make", "Quillon", "--model", "Heron")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> str:
    return str(write_shop(tmp_path_factory.mktemp("quote") / "shop", TOML, **small_shop()))


def as_object(text: str) -> dict:
    def refuse(word: str) -> float:
        raise AssertionError(f"{word} is no JSON")

    found = json.loads(text, parse_constant=refuse)
    assert isinstance(found, dict)
    return found


def test_the_answer_comes_first_in_quarters_of_an_hour(
    shop: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["quote", shop, *ROOF]) == 0
    said = capsys.readouterr()
    lines = said.out.splitlines()
    assert lines[0].startswith("Quote ")
    assert lines[0].endswith(" h: 7 of 10 such jobs finish inside it.")
    assert float(lines[0].split()[1]) % 0.25 == 0
    assert lines[1].startswith("Price: $400.00, from the list; the floor is $")
    assert said.err == ""
    assert 12 <= len(lines) <= 30
    text = said.out
    for part in ("Floor price (target 45%)", "List price: $400.00", "m²", "J33", "half take"):
        assert part in text
    assert "nan" not in text.casefold()


def test_json_is_one_object_with_the_promised_keys(
    shop: str, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["quote", shop, *ROOF, "--json", "--confidence", "0.8", "--installer", "tomas"]
    assert main(arguments) == 0
    found = as_object(capsys.readouterr().out)
    promised = {
        "service", "make", "model", "vehicle_class", "year", "installer", "as_of", "hours",
        "price", "price_to_ask", "usual_price", "usual_price_jobs", "floor",
        "contribution_at_list", "contribution_at_floor", "costs", "evidence",
        "jobs", "film", "notes",
    }  # fmt: skip
    assert promised <= set(found)
    hours = found["hours"]
    assert set(hours) == {"median", "mean", "quantile", "confidence", "low", "high", "usual"}
    assert hours["confidence"] == 0.8
    assert hours["quantile"] >= hours["median"]
    # Unrounded: it is not a quarter of an hour.
    assert hours["quantile"] % 0.25 != 0
    assert (found["as_of"], found["installer"], found["year"]) == ("2026-06-06", "Tomas", None)
    assert (found["price"], found["surcharge"], found["extra_hours"]) == (400, 0, 0)
    costs = found["costs"]
    parts = costs["film"] + costs["consumables"] + costs["labour"] + costs["redo_reserve"]
    assert costs["total"] == pytest.approx(parts, abs=1e-5)
    left = found["price"] - costs["card_fee_at_list"] - costs["total"]
    assert found["contribution_at_list"] == pytest.approx(left, abs=1e-5)
    assert found["evidence"] == {
        "same_service_and_model": 8, "model": 12, "service_and_class": 32, "service": 32,
    }  # fmt: skip
    assert len(found["jobs"]) == 8
    assert {"job_id", "line", "finished_on", "quoted_hours", "actual_hours", "why"} <= set(
        found["jobs"][0]
    )
    assert found["film"]["area_unit"] == "m2"
    assert found["film"]["expected_area"] == pytest.approx(3.0)


def test_what_is_not_known_is_null(shop: str, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["quote", shop, "--service", "hood", "--make", "X", "--model", "Y", "--film", "GC"]
    assert main([*arguments, "--json"]) == 0
    found = as_object(capsys.readouterr().out)
    assert found["price"] is found["floor"] is found["contribution_at_list"] is None
    assert found["vehicle_class"] is found["costs"]["film"] is None
    assert found["jobs"] == []
    assert main(arguments) == 0
    text = capsys.readouterr().out
    assert "Floor price (target 45%): –." in text
    assert "nan" not in text.casefold()


def test_rejected_rows_are_said_and_end_in_1(capsys: pytest.CaptureFixture[str]) -> None:
    """The demo has rows that were left out; lengths and areas are in the shop's own units."""
    arguments = ["quote", str(DEMO), "--service", "roof", "--make", "brenhall"]
    arguments += ["--model", "garrow", "--year", "2023"]
    assert main([*arguments, "--json"]) == 1
    said = capsys.readouterr()
    found = as_object(said.out)
    assert said.err.count("\n") == 1
    assert "left a row out" in said.err
    assert (found["model"], found["year"]) == ("Garrow", 2023)
    assert found["vehicle_class"] == "standard sport utility vehicle"
    (panel,) = found["film"]["panels"]
    assert (found["film"]["length_unit"], found["film"]["area_unit"]) == ("in", "sq ft")
    assert 90 < panel["piece_length"] < 97
    assert set(panel) == {
        "panel", "pieces", "piece_length", "piece_width", "pulled_length", "pulled_width",
        "source", "cuts",
    }  # fmt: skip
    assert main(arguments) == 1
    said = capsys.readouterr()
    assert said.err == ""
    assert "left a row out" in said.out
    assert "off the roll of 60.0 in" in said.out


def test_a_persons_hours_carry_a_caution(shop: str, capsys: pytest.CaptureFixture[str]) -> None:
    main(["quote", shop, *ROOF, "--installer", "Ines"])
    assert "For scheduling and training" in capsys.readouterr().out
    main(["quote", shop, *ROOF])
    assert "training" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["nowhere-at-all", *ROOF], "nowhere-at-all"),
        (["SHOP", "--service", "rof", *ROOF[2:]], "Did you mean roof?"),
        (["SHOP", *ROOF, "--confidence", "80"], "over 0 and under 1"),
        (["SHOP", *ROOF[:4], "--model", ""], "make and the model"),
    ],
)
def test_what_cannot_be_done_is_one_line(
    arguments: list[str], part: str, shop: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["quote", *(shop if each == "SHOP" else each for each in arguments)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert part in said.err
    assert "Traceback" not in said.err


def test_too_few_jobs_are_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    few = "\n".join(small_shop()["jobs"].splitlines()[:3])
    shop = write_shop(tmp_path / "shop", TOML, **(small_shop() | {"jobs": few}))
    assert main(["quote", str(shop), *ROOF]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "No quote can be made yet" in said
    none = write_shop(tmp_path / "none", TOML, **(small_shop() | {"jobs": few.splitlines()[0]}))
    assert main(["quote", str(none), *ROOF]) == 2
    assert "No day of work" in capsys.readouterr().err


@pytest.mark.parametrize("missing", ["--service", "--make", "--model"])
def test_a_question_left_open_is_one_line(
    missing: str, shop: str, capsys: pytest.CaptureFixture[str]
) -> None:
    at = ROOF.index(missing)
    with pytest.raises(SystemExit) as ended:
        main(["quote", shop, *ROOF[:at], *ROOF[at + 2 :]])
    assert ended.value.code == 2
    assert missing in capsys.readouterr().err


@pytest.mark.parametrize(
    ("hours", "quoted"), [(3.5, 3.5), (3.51, 3.75), (0.01, 0.25), (3.7500000000001, 3.75)]
)
def test_hours_are_rounded_up(hours: float, quoted: float) -> None:
    assert quoted_hours(hours) == quoted


@pytest.mark.parametrize(
    ("confidence", "words"),
    [
        (0.7, "7 of 10"),
        (0.75, "3 of 4"),
        (0.95, "19 of 20"),
        (0.83, "83 of 100"),
        (0.875, "87.5 % of"),
    ],
)
def test_confidence_in_words(confidence: float, words: str) -> None:
    assert in_words(confidence) == words


@pytest.mark.parametrize(
    ("listed", "floor", "said"),
    [
        (400.0, 350.0, "Price: $400.00, from the list; the floor is $350.00."),
        (400.0, 400.0, "Price: $400.00, from the list; the floor is $400.00."),
        (
            400.0,
            450.5,
            "Price: $455.00, the floor of $450.50 rounded up; the list says $400.00, which ",
        ),
        (
            math.nan,
            350.0,
            "Price: $350.00 or more, the floor; the list has none, and no such job was invoiced in",
        ),
        (400.0, math.nan, "Price: $400.00, from the list; whether that is enough cannot be told."),
        (
            math.nan,
            math.nan,
            "Price: neither a list price, nor what you usually charge, nor a floor can be told",
        ),
    ],
)
def test_the_price_to_ask_stands_under_the_hours(
    tmp_path: Path, listed: float, floor: float, said: str
) -> None:
    quoter = quoter_of(tmp_path)
    quote = roof(quoter)
    asked = replace(
        quote,
        at_list=replace(quote.at_list, price=listed),
        floor=replace(quote.floor, price=floor),
        usual_price=UsualPrice(math.nan, math.nan, math.nan, 0, None),
    )
    assert quote_lines(asked, quoter.records.settings)[1].startswith(said)


def test_a_quote_is_of_the_newest_day_as_a_kit_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Film that came after the last job is dearer: the next job costs what it cost."""
    tables = small_shop()
    tables["purchases"] += "\n            B | 2026-06-20 | S | GB | film | 1.5 | 100 | 1 | 3000"
    panels = """
        vehicle_class | service | panel | finished_length | finished_width | pieces
        compact car | roof | roof | 1.3 | 1 | 1"""
    folder = str(write_shop(tmp_path / "later", TOML, **tables, panels=panels))
    assert main(["quote", folder, *ROOF, "--json"]) == 0
    quote = as_object(capsys.readouterr().out)
    assert quote["as_of"] == "2026-06-20"
    assert quote["costs"]["film"] == pytest.approx(3 * 20)
    assert main(["kit", folder, *ROOF, "--json"]) == 0
    kit = as_object(capsys.readouterr().out)
    assert (kit["as_of"], kit["install_price"]) == (quote["as_of"], quote["price_to_ask"])
    assert kit["install_leaves"] == pytest.approx(quote["contribution_at_list"])
