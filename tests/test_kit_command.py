"""`kit` as a person runs it: its words, its sheet, its JSON, and how it ends."""

from __future__ import annotations

import json
from dataclasses import replace
from math import isnan
from pathlib import Path

import pytest

from analysis.cli import main
from analysis.kit_order import KitRequest, default_kit_out, prepare_kit
from analysis.report.kit_cautions import KIT_CAUTIONS
from analysis.report.layout_picture import is_ours
from tests.pricing.test_quote import TOML as METRES
from tests.pricing.test_quote import small_shop
from tests.shops import write_shop

DEMO = Path(__file__).parents[1] / "data_demo"
ROOF = ("--service", "roof", "--class", "compact car")
# No job and no sale of it says which film it takes.
FRONT = ("--service", "front", "--class", "compact car", "--film", "F")
MILLIMETRES = """
length_unit = "mm"
area_unit = "m2"
decimal_comma = true
locale = "de-DE"
currency = "EUR"
prices_include_tax = true
tax_rate = 0.19
[counter]
extra_allowance = 20
"""
TABLES = {
    "jobs": """
        job_id | status | finished_on | service | make | model | vehicle_class | film |
        quoted_hours | quoted_price | hours
        A1 | finished | 2026-05-04 | roof | Quillon | Heron | compact car | F | 2 | 300 | 2
        A2 | finished | 2026-05-05 | roof | Quillon | Crane | cargo van | F | 3 | 400 | 3
        A3 | open | | roof | Quillon | Stork | | F | 2 | 300 |""".replace("|\n", "|"),
    "purchases": """
        invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity |
        unit_price
        A | 2026-04-06 | S | F | film | 1520 | 25000 | 1 | 500""".replace("|\n", "|"),
    "cuts": """
        cut_id | cut_on | job_id | film | panel | pulled_length | pulled_width | piece_length |
        piece_width | finished_length | finished_width
        K1 | 2026-05-04 | A1 | F | roof | 1800 | 1520 | 1710 | 1160 | 1600 | 1100""".replace(
        "|\n", "|"
    ),
    "panels": """
        vehicle_class | service | panel | finished_length | finished_width | pieces
        compact car | roof | roof | 1600 | 1100 | 1
        compact car | front | hood | 1300 | 1000 | 1
        compact car | front | fender | 950 | 620 | 2
        cargo van | roof | roof | 2900 | 1700 | 1""",
    "price_list": """
        service | vehicle_class | list_price | list_hours | effective_from
        roof | compact car | 450 | 3 | 2026-01-01""",
    "counter_sales": """
        sale_id | sold_on | film | length | width | price | minutes | service | would_book
        S1 | 2026-05-06 | F | 1800 | 1520 | 95 | 20 | roof | no""",
}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("kit") / "shop"
    return str(write_shop(folder, MILLIMETRES, **TABLES))


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def as_object(text: str) -> dict:
    def refuse(word: str) -> float:
        raise AssertionError(f"{word} is no JSON")

    found = json.loads(text, parse_constant=refuse)
    assert isinstance(found, dict)
    return found


def test_a_kit_of_the_demo_is_told_and_its_sheet_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The demo is the default folder; its records hold rows that are left out."""
    path = tmp_path / "sheet.html"
    assert main(["kit", "--service", "Roof", "--class", "midsize car", "--out", str(path)]) == 1
    said = capsys.readouterr()
    assert said.err == ""
    lines = said.out.splitlines()
    assert lines[0].startswith("Kit: roof, midsize car, in NK-")
    assert lines[1].endswith("off the roll of 60 in: 1 piece.")
    assert "finished 62 × 45 in" in lines[2]
    for part in ("Price of the kit: $", "Price of the install: $", "Lowest price: $", "leaves: $"):
        assert part in said.out
    for title, _ in KIT_CAUTIONS:
        assert title in said.out
    assert "nan" not in said.out.casefold()
    assert lines[-1].endswith(str(path))
    sheet = path.read_text(encoding="utf-8")
    assert "Kit: <bdi>roof, midsize car</bdi>" in sheet
    owner = [line for line in lines if line.startswith("For you")][0]
    lowest, leaves = (part.split()[0].rstrip(".") for part in owner.split("$")[1:])
    assert lowest not in sheet
    assert leaves not in sheet


def test_the_kit_is_cut_larger_and_priced_over_its_lowest_price(shop: str) -> None:
    """The shop holds 55 and 30 mm a side; 20 more of each makes 1,750 × 1,200 of the roof."""
    plan = prepare_kit(shop, KitRequest("ROOF", "Compact-Car"))
    (piece,) = plan.kit.pieces
    assert (piece.length_m, piece.width_m) == (pytest.approx(1.75), pytest.approx(1.2))
    assert plan.kit.allowance_m == pytest.approx(0.0625)
    assert plan.kit.cut_length_m == pytest.approx(1.75)
    assert (plan.kit.service, plan.kit.vehicle_class) == ("roof", "compact car")
    assert plan.kit.price >= plan.kit.lowest_price > plan.kit.film_cost
    assert plan.kit.install_price == 450
    assert default_kit_out(Path("shop/records"), plan.kit) == Path(
        "shop/kits/kit-roof-compact_car-F.html"
    )


def test_kits_of_two_films_are_two_files(shop: str) -> None:
    """The same request in another film does not take the place of the first."""
    kit = prepare_kit(shop, KitRequest("roof", "compact car")).kit
    names = [
        default_kit_out(DEMO, replace(kit, film=film)).name for film in ("GB-60", "../M B/60", "")
    ]
    assert names == [
        "kit-roof-compact_car-GB-60.html",
        "kit-roof-compact_car-M_B_60.html",
        "kit-roof-compact_car.html",
    ]
    vehicle = replace(kit, make="Quillon", model="Heron", film="GB-60")
    assert default_kit_out(DEMO, vehicle).name == "kit-roof-Quillon-Heron-compact_car-GB-60.html"


def test_it_says_as_of_which_day_the_prices_are(
    shop: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The owner may hold them against the report's, which are as of the end of its quarter."""
    said = (
        "Prices, and what an install leaves, are as of 2026-05-06, the newest day of the records; "
        "the report's are as of its quarter's end."
    )
    plan = prepare_kit(shop, KitRequest("roof", "compact car"))
    assert plan.day.strftime("%Y-%m-%d") == "2026-05-06"
    assert plan.notes == (said,)
    model = prepare_kit(shop, KitRequest("roof", make="Quillon", model="Heron"))
    # Last, after what is said about the question.
    assert model.notes[-1] == said
    assert any("newest job on this model" in note for note in model.notes[:-1])
    out = tmp_path / "kit.html"
    assert main(["kit", shop, *ROOF, "--out", str(out)]) == 0
    assert capsys.readouterr().out.count(said) == 1
    assert "quarter" not in out.read_text(encoding="utf-8")
    assert main(["kit", shop, *ROOF, "--json"]) == 0
    assert said in as_object(capsys.readouterr().out)["notes"]


def test_a_shop_in_millimetres_with_a_decimal_comma(
    shop: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "deep" / "kit.html"
    assert main(["kit", shop, *ROOF, "--out", str(out)]) == 0
    said = plain(capsys.readouterr().out)
    for part in (
        "Cut 1.750 mm off the roll of 1.520 mm: 1 piece.",
        "roof: cut 1.750 × 1.200 mm, finished 1.600 × 1.100 mm",
        "Price of the install: 450 €",
        str(out),
    ):
        assert part in said
    page = plain(out.read_text(encoding="utf-8"))
    assert is_ours(out.read_bytes())
    assert "19 % tax included" in page
    # Again, in its own place.
    assert main(["kit", shop, *ROOF, "--out", str(out)]) == 0


def test_the_class_is_that_of_the_model(shop: str, capsys: pytest.CaptureFixture[str]) -> None:
    vehicle = ("--make", "quillon", "--model", "HERON")
    assert main(["kit", shop, "--service", "front", *vehicle, "--film", "f", "--json"]) == 0
    found = as_object(capsys.readouterr().out)
    named = {"make": "Quillon", "model": "Heron", "vehicle_class": "compact car", "film": "F"}
    assert {name: found[name] for name in named} == named
    assert [(each["panel"], each["number"]) for each in found["pieces"]] == [
        ("hood", 1),
        ("fender", 2),
    ]
    assert any("newest job on this model" in note for note in found["notes"])


def test_json_is_one_object_and_leaves_no_file_unless_asked(
    shop: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["kit", shop, *FRONT, "--json"]) == 0
    found = as_object(capsys.readouterr().out)
    assert set(found) == {
        "service", "vehicle_class", "make", "model", "film", "as_of", "currency", "length_unit",
        "area_unit", "pieces", "allowance", "roll_width", "cut_length", "film_area", "film_cost",
        "lowest_price", "price", "install_price", "install_leaves", "install_price_for_model",
        "notes", "cautions", "sheet",
    }  # fmt: skip
    # The price list has none for this service.
    assert (found["install_price"], found["make"], found["sheet"]) == (None, None, None)
    assert (found["as_of"], found["currency"], found["roll_width"]) == ("2026-05-06", "EUR", 1520)
    assert found["cautions"] == [title for title, _ in KIT_CAUTIONS]
    assert not list(tmp_path.iterdir())
    assert main(["kit", shop, *ROOF, "--json", "--out", "sheet.html"]) == 0
    assert as_object(capsys.readouterr().out)["sheet"] == "sheet.html"
    assert is_ours((tmp_path / "sheet.html").read_bytes())


def test_what_is_not_known_is_said_and_asked_for(
    shop: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "kit.html"
    assert main(["kit", shop, *FRONT, "--out", str(out)]) == 0
    assert "Price of the install: not known" in capsys.readouterr().out
    assert '<p class="price">ask</p>' in out.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (["--service", "rof", "--class", "compact car"], ["no service 'rof'", "did you mean roof"]),
        (["--service", "wash", "--class", "compact car"], ["These are: roof, front."]),
        (["--service", "roof", "--class", "compact cat"], ["did you mean compact car?"]),
        (
            ["--service", "roof", "--class", "small suv"],
            ["did you mean small sport utility vehicle? Ask with --class"],
        ),
        (
            ["--service", "roof", "--class", "zeppelin"],
            ["--class (in use here: compact car, cargo van)"],
        ),
        (["--service", "front", "--class", "cargo van"], ["No panel of front on cargo van"]),
        (["--service", "roof", "--class", "cargo van"], ["the widest roll of F", "seam"]),
        (list(FRONT[:4]), ["film", "front", "not known"]),
        ([*ROOF, "--film", "G"], ["no film 'G'", "These are: F."]),
        (["--service", "roof"], ["--class", "--make and --model"]),
        (["--service", "roof", "--make", "Quillon"], ["--class", "--make and --model"]),
        (["--service", " ", "--class", "compact car"], ["--service"]),
        (
            ["--service", "roof", "--make", "Quillon", "--model", "Hern"],
            ["class of Quillon Hern is not known", "--class", "did you mean Heron?"],
        ),
        (
            ["--service", "roof", "--make", "Quillon", "--model", "Stork"],
            ["of Quillon Stork is not known", "--class (in use here: compact car, cargo van)."],
        ),
        ([*ROOF, "--out", "SHOP/a.html"], ["records folder"]),
    ],
)
def test_what_cannot_be_done_is_one_line(
    arguments: list[str], parts: list[str], shop: str, capsys: pytest.CaptureFixture[str]
) -> None:
    joined = [each.replace("SHOP", shop) for each in arguments]
    assert main(["kit", shop, *joined]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    for part in parts:
        assert part in said.err
    assert not list(Path(shop).glob("*.html"))


def test_a_model_not_seen_before_is_told_where_its_class_is_given(
    shop: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    vehicle = ("--make", "Quillon", "--model", "Hern")
    assert main(["kit", shop, *ROOF, *vehicle, "--out", str(tmp_path / "a.html")]) == 0
    said = capsys.readouterr().out
    assert "Kit: roof, Quillon Hern, compact car" in said
    assert "did you mean Heron?" in said
    # Before any price.
    assert said.startswith("Quillon Hern was never done here; did you mean Heron?")
    assert main(["kit", shop, *ROOF, *vehicle, "--json"]) == 0
    assert "did you mean Heron?" in as_object(capsys.readouterr().out)["notes"][0]


def test_the_install_of_a_model_is_asked_as_quote_asks_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Garrow roofs take longer than others of their class, and its list price is under the floor.

    The customer's sheet, the screen and the object say one price, and what it leaves is of it.
    """
    car = ("--service", "roof", "--make", "Brenhall", "--model", "Garrow")
    assert main(["quote", str(DEMO), *car, "--json"]) == 1
    quote = as_object(capsys.readouterr().out)
    out = tmp_path / "kit.html"
    assert main(["kit", str(DEMO), *car, "--json", "--out", str(out)]) == 1
    kit = as_object(capsys.readouterr().out)
    assert quote["surcharge"] > 0
    assert kit["install_price"] == quote["price_to_ask"] == quote["price"] + quote["surcharge"]
    assert kit["install_price_for_model"] == quote["surcharge"]
    # A card payment's fee in proportion, and its fixed part, as at the list's price.
    costs = quote["costs"]
    fees = costs["card_fee_at_floor"] - costs["card_fee_at_list"]
    per_unit = fees / (quote["floor"] - quote["price"])
    fee = costs["card_fee_at_list"] + per_unit * quote["surcharge"]
    assert kit["install_leaves"] == pytest.approx(kit["install_price"] - fee - costs["total"])
    price, more = (f"${kit[name]:,.0f}" for name in ("install_price", "install_price_for_model"))
    assert f'<p class="price">{price}</p>' in out.read_text(encoding="utf-8")
    assert main(["kit", str(DEMO), *car, "--out", str(out)]) == 1
    said = capsys.readouterr().out
    assert f"Price of the install: {price} ({more} of it for this model)" in said
    assert "because this model takes about" in said
    # A class alone has the list's price, and what its installs left.
    of_class = ("--service", "roof", "--class", quote["vehicle_class"])
    assert main(["kit", str(DEMO), *of_class, "--json"]) == 1
    plain_kit = as_object(capsys.readouterr().out)
    assert plain_kit["install_price"] == quote["price"]
    assert plain_kit["install_price_for_model"] is None
    assert plain_kit["install_leaves"] != kit["install_leaves"]


@pytest.mark.parametrize(("service", "price"), [("roof", 450), ("front", None)])
def test_where_no_quote_can_be_made_the_price_is_the_lists_and_it_says_so(
    shop: str, service: str, price: float | None
) -> None:
    plan = prepare_kit(shop, KitRequest(service, make="Quillon", model="Heron", film="F"))
    (note,) = [each for each in plan.notes if "not quoted for this model" in each]
    assert "the list's for the class" in note
    assert plan.kit.install_price == price or (price is None and isnan(plan.kit.install_price))
    assert isnan(plan.kit.install_for_model)
    by_class = prepare_kit(shop, KitRequest(service, "compact car", film="F"))
    assert not any("not quoted" in note for note in by_class.notes)


def test_a_service_without_hours_is_not_quoted_but_its_kit_is_made(tmp_path: Path) -> None:
    """Enough roofs to quote from; nobody did a front yet."""
    panels = """
        vehicle_class | service | panel | finished_length | finished_width | pieces
        compact car | front | hood | 1.3 | 1 | 1"""
    folder = write_shop(tmp_path / "many", METRES, **(small_shop() | {"panels": panels}))
    request = KitRequest("front", make="Quillon", model="Heron", film="GB")
    notes = prepare_kit(folder, request).notes
    assert any("No finished job of front has quoted and actual hours." in each for each in notes)


def test_a_file_of_somebody_else_stays(
    shop: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "mine.html"
    out.write_text("mine")
    assert main(["kit", shop, *ROOF, "--out", str(out)]) == 2
    assert "not replaced" in capsys.readouterr().err
    assert out.read_text() == "mine"


def test_a_service_is_asked_for(shop: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["kit", shop, "--class", "compact car"])
    assert ended.value.code == 2
    assert "--service" in capsys.readouterr().err


def test_records_without_a_day_are_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    empty = {name: TABLES[name].strip().splitlines()[0] for name in ("jobs", "purchases")}
    folder = write_shop(tmp_path / "empty", MILLIMETRES, **empty)
    assert main(["kit", str(folder), *ROOF]) == 2
    assert "No day of work" in capsys.readouterr().err
