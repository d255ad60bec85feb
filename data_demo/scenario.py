"""The invented shop: who works there, what it sells, and the causes planted in its records.

Everything here is made up: the town, the people, the vehicle makes and models, the films and the
suppliers. Prices, wages, hours and sizes are of a believable order (common practice, no source).

The second half of the file names THE PLANTED CAUSES: what the simulation does to the records on
purpose, how large, and why. A review of the records can be asked whether it finds them. Lengths are
in inches, areas in square feet, money in dollars, hours are hours of one person. The file is longer
than most because it is data: every number of the shop stands here and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

SHOP_NAME = "Penhallow Film & Trim, Marrowby Falls"
FIRST_DAY = date(2024, 1, 8)
LAST_DAY = date(2026, 10, 16)
DEFAULT_SEED = 20

# ---------------------------------------------------------------- people


@dataclass(frozen=True)
class Installer:
    """One installer: hours he needs against the average, and what he leaves behind."""

    name: str
    speed: float  # hours needed against the average installer (1.1 = a tenth more)
    redo_factor: float  # odds of a redo against the average
    recut_factor: float  # odds of a recut against the average
    margin: float  # handling margin he holds, inches a side along the piece
    weekdays: tuple[int, ...]  # Monday = 0
    wage: float  # at the start, an hour


INSTALLERS = (
    Installer("Marta Ellery", 1.00, 1.0, 1.0, 3.2, (0, 1, 2, 3, 4), 24.00),
    Installer("Joss Tindall", 0.86, 1.3, 2.3, 3.0, (0, 1, 2, 3, 4), 23.00),
    Installer("Ines Corbray", 1.15, 0.15, 0.7, 3.4, (0, 1, 2, 3, 4), 25.50),
    Installer("Dell Overbeck", 1.02, 1.2, 1.1, 3.2, (1, 3), 18.50),
)
OWNER = "Ruth Penhallow"  # serves at the counter, lays no film
RAISES = (("2025-01-01", 1.04), ("2026-01-01", 1.038))  # date, times the wage before
HOLIDAYS = ((1, 1), (5, 27), (7, 4), (9, 2), (11, 28), (11, 29), (12, 24), (12, 25), (12, 26))
PRACTICAL_HOURS_A_DAY = 7.25  # of eight: the rest goes on cleaning, moving vehicles, talking
CLOCK_WRITER = "Joss Tindall"  # writes 2:45
START_STOP_WRITER = "Dell Overbeck"  # writes start and stop, no hours

# ---------------------------------------------------------------- services


@dataclass(frozen=True)
class Service:
    """One service at the size of a midsize car, and how its customers answer to its price."""

    name: str
    list_hours: float
    list_price: float  # at the start
    asked: float  # share of enquiries
    win: float  # share of quotes won at the going price
    sensitivity: float  # PLANTED: change of log-odds of winning per log(price / going price)
    hours_bias: float  # true mean hours against list hours
    tasks: tuple[float, ...]  # shares over TASKS
    films: tuple[tuple[str, float], ...]
    by_class: bool = True  # its list has a price a class
    yearly_rise: float = 0.035  # of the list price, each January


TASKS = ("disassembly", "prep", "cutting", "laying", "trimming", "post-heat", "reassembly")
COLOURS = (
    ("NK-GLOSS-BLACK", 0.20),
    ("NK-SATIN-BLACK", 0.17),
    ("NK-GLOSS-WHITE", 0.17),
    ("NK-SATIN-GREY", 0.24),
    ("NK-DEEP-RED", 0.22),
)
DARK = (("NK-GLOSS-BLACK", 0.62), ("NK-SATIN-BLACK", 0.20), ("NK-CARBON", 0.18))
SERVICES = (
    Service(
        "roof", 2.75, 350, 0.16, 0.66, -1.5, 1.03, (0.14, 0.16, 0.08, 0.36, 0.12, 0.06, 0.08), DARK
    ),
    Service(
        "hood", 2.50, 295, 0.09, 0.64, -2.5, 1.02, (0.06, 0.20, 0.08, 0.42, 0.13, 0.08, 0.03), DARK
    ),
    Service(
        "full colour change",
        34.0,
        2960,
        0.185,
        0.47,
        -4.5,
        1.03,
        (0.12, 0.14, 0.08, 0.43, 0.09, 0.05, 0.09),
        COLOURS,
    ),
    Service(
        "partial",
        12.5,
        1140,
        0.10,
        0.58,
        -3.5,
        1.02,
        (0.11, 0.15, 0.08, 0.43, 0.10, 0.05, 0.08),
        COLOURS,
    ),
    Service(
        "trim blackout",
        5.0,
        305,
        0.12,
        0.72,
        -1.0,
        1.10,
        (0.20, 0.18, 0.08, 0.28, 0.10, 0.06, 0.10),
        (("NK-GLOSS-BLACK", 0.66), ("NK-SATIN-BLACK", 0.34)),
        yearly_rise=0.0,
    ),
    Service(
        "mirror caps and small parts",
        1.75,
        155,
        0.08,
        0.70,
        -2.0,
        1.03,
        (0.16, 0.16, 0.08, 0.36, 0.10, 0.06, 0.08),
        DARK,
        by_class=False,
    ),
    Service(
        "protection film front",
        10.5,
        1390,
        0.12,
        0.55,
        -2.0,
        1.02,
        (0.06, 0.18, 0.12, 0.44, 0.12, 0.03, 0.05),
        (("SB-CLEAR", 0.82), ("SB-MATTE", 0.18)),
        yearly_rise=0.02,
    ),
    Service(
        "tint",
        2.75,
        265,
        0.13,
        0.68,
        -6.0,
        1.01,
        (0.08, 0.24, 0.16, 0.34, 0.06, 0.08, 0.04),
        (("DK-20", 0.5), ("DK-35", 0.32), ("DK-50", 0.18)),
        by_class=False,
    ),
    Service(
        "removal", 7.5, 550, 0.06, 0.66, -2.5, 1.05, (0.10, 0.18, 0.0, 0.0, 0.0, 0.60, 0.12), ()
    ),
)
SERVICE = {service.name: service for service in SERVICES}
PRICE_SPREAD = 0.13  # sd of log(quoted price / list price): what the owner feels on the day
HOURS_NOISE = 0.20  # sd of log hours from job to job
SEASON = (0.66, 0.74, 1.02, 1.18, 1.24, 1.18, 1.06, 1.04, 1.04, 1.00, 0.88, 0.70)
ENQUIRIES_A_DAY = 2.52
CANCELLED_EVERY = 80  # one job in so many is cancelled before it begins
CALLED_IN_EARLY = 9  # days by which a waiting job may come sooner when hands are idle

# ---------------------------------------------------------------- vehicles


@dataclass(frozen=True)
class VehicleClass:
    """Sizes of one class: hours and price against the midsize car, and its panels."""

    name: str
    size: float
    scale: float  # of the panels other than roof and hood
    roof: tuple[float, float]
    hood: tuple[float, float]


CLASSES = (
    VehicleClass("two-seater", 0.92, 0.90, (42, 41), (54, 44)),
    VehicleClass("compact car", 0.93, 0.93, (57, 43), (53, 41)),
    VehicleClass("midsize car", 1.00, 1.00, (62, 45), (55, 45)),
    VehicleClass("large car", 1.08, 1.06, (65, 45), (57, 48)),
    VehicleClass("midsize station wagon", 1.10, 1.05, (84, 44), (55, 45)),
    VehicleClass("standard pickup", 1.14, 1.08, (66, 54), (58, 50)),
    VehicleClass("minivan", 1.16, 1.08, (96, 54), (56, 38)),
    VehicleClass("cargo van", 1.30, 1.09, (112, 56), (54, 36)),
    VehicleClass("small sport utility vehicle", 1.04, 1.02, (74, 44), (56, 44)),
    VehicleClass("standard sport utility vehicle", 1.20, 1.12, (88, 47.5), (62, 47.5)),
)
CLASS = {cls.name: cls for cls in CLASSES}
OPENING = (36.0, 26.0)  # of a sunroof, length and width


@dataclass(frozen=True)
class Model:
    """One model: how often it comes, and whether its roof has an opening."""

    make: str
    model: str
    vehicle_class: str
    weight: float
    sunroof: bool = False


def _models(vehicle_class: str, rows: str) -> tuple[Model, ...]:
    """Read 'Make Model weight [sunroof]' rows, split by commas."""
    words = [row.split() for row in rows.split(",")]
    return tuple(Model(w[0], w[1], vehicle_class, float(w[2]), len(w) > 3) for w in words)


MODELS = (
    *_models("two-seater", "Kestava Ulver 30, Varlund Rosk 14, Tovarik Vesk 4, Kestava Ombry 1.5"),
    *_models(
        "compact car",
        "Oskelund Besk 44 sunroof, Pellworth Kittow 26, Lumbrey Tindle 15, "
        "Brenhall Nestow 7, Tovarik Jassel 3, Hathmoor Pinnock 1.5, Dunmere Elmot 1",
    ),
    *_models(
        "midsize car",
        "Lumbrey Selwick 84, Hathmoor Aldry 42 sunroof, "
        "Pellworth Corrick 24 sunroof, Kestava Fenrow 18, Varlund Narrin 9 sunroof, "
        "Dunmere Wendle 4, Oskelund Mardle 2.5, Brenhall Yestin 1.5, Tovarik Halse 1",
    ),
    *_models(
        "large car",
        "Hathmoor Vellin 36 sunroof, Varlund Eskar 16 sunroof, "
        "Brenhall Orrel 5, Kestava Quenby 2.5, Pellworth Sorrin 1.5",
    ),
    *_models(
        "midsize station wagon",
        "Oskelund Merrow 38 sunroof, Hathmoor Lanrick 12 sunroof, "
        "Lumbrey Cindle 4, Varlund Ferrin 2",
    ),
    *_models(
        "standard pickup",
        "Dunmere Thresk 46, Brenhall Dorrin 66, Tovarik Gantry 22, "
        "Dunmere Barrowe 8, Oskelund Hexam 3, Kestava Rundle 1",
    ),
    *_models(
        "minivan",
        "Pellworth Mossel 32 sunroof, Lumbrey Fallick 11, Brenhall Gilden 4, Hathmoor Ilmar 1.5",
    ),
    *_models(
        "cargo van", "Lumbrey Hobbin 24, Dunmere Isken 13, Tovarik Pardew 5, Varlund Ullick 2"
    ),
    *_models(
        "small sport utility vehicle",
        "Lumbrey Yarrow 72 sunroof, Varlund Zennick 40, "
        "Oskelund Quarrin 34 sunroof, Hathmoor Jorrin 20 sunroof, Pellworth Dalven 13, "
        "Tovarik Kelpin 6 sunroof, Dunmere Lorrin 4, Kestava Bexil 2, Brenhall Tarnow 1.5",
    ),
    *_models(
        "standard sport utility vehicle",
        "Brenhall Garrow 50, Dunmere Zorrin 34 sunroof, "
        "Hathmoor Calmere 30 sunroof, Tovarik Umbry 18 sunroof, Oskelund Warrin 9 sunroof, "
        "Pellworth Harnock 5, Varlund Stennock 3, Kestava Orvell 1.5",
    ),
)
# Two models changed class with a new body: (make, model, last year of the old body, old class).
CHANGED_CLASS = (
    ("Pellworth", "Kittow", 2021, "midsize car"),
    ("Dunmere", "Barrowe", 2020, "small sport utility vehicle"),
)

# Panels at the size of a midsize car: (panel, length, width, pieces). Roof and hood come from the
# class. A full colour change leaves the door shuts alone.
BODY = (
    ("trunk lid", 54, 38, 1),
    ("front doors", 45, 28, 2),
    ("rear doors", 42, 28, 2),
    ("front fenders", 41, 26, 2),
    ("rear quarters", 54, 28, 2),
    ("bumpers", 70, 25, 2),
    ("mirror caps", 13, 10, 2),
)
PANELS = {
    "roof": ("roof",),
    "hood": ("hood",),
    "full colour change": ("hood", "roof", *(row[0] for row in BODY)),
    "partial": ("hood", "front fenders", "front bumper halves", "mirror caps"),
    "trim blackout": ("window trim", "grille surround"),
    "mirror caps and small parts": ("mirror caps", "door handles"),
    "protection film front": (
        "hood",
        "front bumper halves",
        "front fenders",
        "headlamps",
        "mirror caps",
    ),
    "tint": ("side glass", "rear glass"),
    "removal": (),
}
OTHER_PANELS = (
    ("front bumper halves", 37, 25, 2),
    ("window trim", 38, 3, 8),
    ("grille surround", 38, 12, 1),
    ("door handles", 9, 3, 4),
    ("headlamps", 24, 13, 2),
    ("side glass", 33, 18, 6),
    ("rear glass", 52, 30, 1),
)
WASTEFUL_PANELS = {  # of the tall class: too wide to lie two abreast, or too long to lie across
    "trunk lid": (60.0, 42.0, 1),
    "front doors": (43.0, 34.0, 2),
    "rear doors": (40.0, 34.0, 2),
    "front fenders": (41.0, 31.0, 2),
    "rear quarters": (61.0, 34.0, 2),
    "bumpers": (74.0, 31.0, 2),
    "front bumper halves": (39.0, 31.0, 2),
}
PANEL_SIZE = {name: (length, width, pieces) for name, length, width, pieces in BODY + OTHER_PANELS}

# ---------------------------------------------------------------- films and suppliers


@dataclass(frozen=True)
class Film:
    """One film: the rolls it comes in and what it costs."""

    code: str
    supplier: str
    widths: tuple[float, ...]  # the first is the width that `price` is for
    roll_length: str  # as the invoice writes it
    roll_inches: float
    price: float  # of a roll of the first width, at the start
    yearly_rise: float
    tracked: bool = True  # each roll has a label of its own
    counter: float = 0.0  # share of counter sales


FILMS = (
    Film(
        "NK-GLOSS-BLACK",
        "Coldbrook Film Supply",
        (60, 48, 24),
        "25 yd",
        900,
        970,
        0.04,
        counter=0.32,
    ),
    Film(
        "NK-SATIN-BLACK", "Coldbrook Film Supply", (60, 48), "25 yd", 900, 1000, 0.04, counter=0.16
    ),
    Film("NK-CARBON", "Coldbrook Film Supply", (60,), "25 yd", 900, 1060, 0.05, counter=0.16),
    Film("NK-GLOSS-WHITE", "Coldbrook Film Supply", (60,), "25 yd", 900, 960, 0.03),
    Film("NK-SATIN-GREY", "Coldbrook Film Supply", (60,), "50 yd", 1800, 2040, 0.04),
    Film("NK-DEEP-RED", "Coldbrook Film Supply", (60,), "25 yd", 900, 1080, 0.05),
    Film("SB-CLEAR", "Tessel & Rowe Sheeting", (60,), "75 ft", 900, 1930, 0.095),
    Film("SB-MATTE", "Tessel & Rowe Sheeting", (60,), "50 ft", 600, 1460, 0.04),
    Film("DK-20", "Aldermoor Window Films", (60,), "100 ft", 1200, 560, 0.04, False, 0.20),
    Film("DK-35", "Aldermoor Window Films", (60,), "100 ft", 1200, 540, 0.03, False, 0.16),
    Film("DK-50", "Aldermoor Window Films", (60,), "100 ft", 1200, 540, 0.04, False),
)
FILM = {film.code: film for film in FILMS}
SECOND_SUPPLIER = ("NK-GLOSS-BLACK", "Hollins Reach Trade", 1.06, 0.12)  # film, who, price, share
SUNDRIES = "Bramley Cross Sundries"
CONSUMABLES = (  # item, price, how many a month
    ("felt-edge squeegee", 7.40, 10),
    ("snap blades, box of 100", 21.00, 6),
    ("panel cleaner, 5 l", 34.00, 9),
    ("cutting-line tape", 18.50, 12),
    ("masking tape", 5.20, 24),
    ("lint-free cloths, box", 27.00, 9),
    ("slip solution, 1 l", 13.50, 8),
    ("edge sealer", 24.00, 5),
    ("primer pen", 8.90, 8),
)
OFFCUT_LIFE_MONTHS = 12
OFFCUT_LEAST_WIDTH = 11.5
NARROW_PRICE = {48: 0.82, 24: 0.44}  # price of a narrow roll against the 60 in one
KEPT_SHARE = 0.14  # of the strips wide enough to keep that are put back on the shelf
DIRECTIONAL_FILM = "NK-CARBON"  # woven look: a turned piece shows beside a straight one
LONGEST_PULL = 180  # inches, the cutting table
STUB = 24.0  # a roll's end shorter than this is thrown away

# ================================================================ THE PLANTED CAUSES


@dataclass(frozen=True)
class Overrun:
    """A model that takes longer than it is quoted for, on these services, in these tasks."""

    make: str
    model: str
    services: tuple[str, ...]
    share: float  # of the hours that the work would take on another model
    tasks: tuple[str, ...]
    why: str


# 1. Six of the sixty models overrun, and the quotes do not follow. Services that are not named take
#    these models as any other (on a full change most parts come off anyway, and are quoted).
ON_OFF = ("disassembly", "reassembly")
OVERRUNS = (
    Overrun(
        "Brenhall",
        "Garrow",
        ("roof",),
        0.55,
        ON_OFF,
        "the roof rails are bolted through the headliner and must come off",
    ),
    Overrun(
        "Dunmere",
        "Thresk",
        ("hood", "protection film front"),
        0.42,
        ("laying",),
        "the hood has a deep recess, in which the film has to be laid twice",
    ),
    Overrun(
        "Oskelund",
        "Merrow",
        ("roof", "full colour change", "partial"),
        0.35,
        ON_OFF,
        "the roof rails are bonded as well as bolted",
    ),
    Overrun(
        "Kestava",
        "Ulver",
        ("full colour change", "partial"),
        0.35,
        ("laying", "post-heat"),
        "the rear quarters curve both ways",
    ),
    Overrun(
        "Lumbrey",
        "Hobbin",
        ("full colour change", "partial", "roof", "removal"),
        0.60,
        ("laying", "post-heat"),
        "the panels are ribbed from end to end",
    ),
    Overrun(
        "Varlund",
        "Zennick",
        ("trim blackout", "mirror caps and small parts", "partial"),
        0.40,
        ON_OFF,
        "the trim clips break and are replaced one by one",
    ),
)
OVERRUN_MIX = 0.80  # share of these models' enquiries that ask for a service it bites on

# 2. One class wastes more film: its roof is too wide for the 48 in roll once the allowance is on
#    it, its hood and quarters are too long to lie across any roll, and its doors, fenders and
#    bumpers too tall to lie two abreast (sizes in CLASSES and WASTEFUL_PANELS).
WASTEFUL_CLASS = "standard sport utility vehicle"

# 3. One service loses money at today's prices: its list price has stood still since the start,
#    and its hours were quoted a tenth too low from the first day.
LOSING_SERVICE = "trim blackout"

# 4. One film's landed price crept up by about 30 % over the span (0.095 a year in FILMS), in small
#    steps on each invoice; the others rose 3 to 5 % a year.
CREEPING_FILM = "SB-CLEAR"
CREEP_OVER_SPAN = 0.30

# 5. A small change in how the sunroof opening is counted. Before this date the sheet took the two
#    strips of roof ahead of and behind the opening for the pieces and left opening_area blank; from
#    it on it takes the whole roof and writes the opening down. The finished area then has the bands
#    beside the opening in it, so the waste of roofs seems to drop; the film used is the same.
OPENING_COUNTED_FROM = date(2025, 7, 1)

# 6. One installer is slower with fewer redos, one faster with more recuts (see INSTALLERS).
CAREFUL_INSTALLER = "Ines Corbray"
FAST_INSTALLER = "Joss Tindall"

# 7. Repetition shrinks the hours of one model and service: first job x LEARNING_FIRST, then falling
#    with the number of jobs done to the power -LEARNING_POWER.
LEARNING_PAIR = ("Lumbrey", "Yarrow", "protection film front")
LEARNING_FIRST = 1.65
LEARNING_POWER = 0.20
LEARNING_MIX = 0.62  # share of the model's enquiries that ask for that service

# 8. Film of one kind leaves the shelf without a cut: about this share of what is cut of it.
SHRINKING_FILM = "NK-SATIN-BLACK"
SHRINKAGE_SHARE = 0.05

# 9. A recut is likelier the smaller the margin held: log-odds at 3 in a side, and per inch more.
RECUT_LOGIT_AT_3 = -3.35
RECUT_LOGIT_PER_INCH = -0.95
MARGIN_SPREAD = 0.85  # sd of the margin from cut to cut, inches a side
DAMAGE_SHARE = 0.010  # of cuts, whatever the margin

# 10. Counter sales: this share would have been an install, this share comes back for one.
COUNTER_SALES = 120
DISPLACED_SHARE = 0.24
COMES_BACK_SHARE = 0.12
ASKED_SHARE = 0.62  # share of customers who are asked and know; the rest is unsure or blank

# 11. Price sensitivity of demand: Service.sensitivity, tint the most, trim blackout the least.

# Redos: share of first-time job lines, before the installer's factor.
REDO_SHARE = 0.055
REDO_FREE_SHARE = 0.75  # done over for nothing; else for a small charge


@dataclass(frozen=True)
class Decision:
    """One past change of a list price. old_price comes from the list of the day."""

    decided_on: str
    service: str
    vehicle_class: str
    change: float  # of the list price of the day
    suggested: float | None  # the same, as it was suggested; None: nobody suggested it
    effective_from: str
    note: str


DECISIONS = (
    Decision(
        "2025-02-17",
        "roof",
        "standard sport utility vehicle",
        0.13,
        0.12,
        "2025-03-01",
        "takes the wide roll and half a day; nobody asked why",
    ),
    Decision(
        "2025-06-09",
        "tint",
        "",
        0.15,
        0.04,
        "2025-07-01",
        "asked for more than was suggested, to see",
    ),
    Decision(
        "2025-11-10",
        "protection film front",
        "midsize car",
        0.08,
        0.08,
        "2025-12-01",
        "the film has gone up",
    ),
    Decision(
        "2026-03-16",
        "hood",
        "small sport utility vehicle",
        -0.07,
        None,
        "2026-04-01",
        "to fill the short days",
    ),
    Decision(
        "2026-08-17",
        "full colour change",
        "large car",
        0.05,
        0.06,
        "2026-09-01",
        "first step of two",
    ),
)

OVERHEADS = (  # category, a month at the start, yearly rise, extra in December to February
    ("rent", 4300, 0.035, 0),
    ("owner's pay", 4000, 0.03, 0),
    ("utilities", 410, 0.04, 330),
    ("insurance", 640, 0.05, 0),
    ("marketing", 620, 0.02, -180),
    ("software and phone", 210, 0.05, 0),
    ("bookkeeping", 320, 0.03, 0),
    ("equipment lease", 430, 0.0, 0),
    ("waste and cleaning", 165, 0.04, 0),
)
PAYMENTS = (("card", 0.62), ("transfer", 0.26), ("cash", 0.12))
BAYS = 3


@dataclass(frozen=True)
class Blemish:
    """One mistake in the records that the check must report."""

    table: str
    content: str
    said: str
    severity: str


BLEMISHES = (
    Blemish(
        "jobs",
        "one job line stands twice, the second time with a price 40 higher",
        "the same job line twice with different content; the last row stands",
        "rejected",
    ),
    Blemish("jobs", "one Dunmere Thresk is written 'Tresk'", "a model spelt two ways", "doubtful"),
    Blemish(
        "jobs",
        "payment is blank on fourteen paid jobs, and on the redos done for nothing",
        "no fee is charged; told once",
        "doubtful",
    ),
    Blemish("hours", "an entry of 27 hours", "over 24 hours in one entry", "rejected"),
    Blemish("hours", "1.5 hours on a cancelled job", "time on a cancelled job", "doubtful"),
    Blemish(
        "hours", "'Ines Corbay' worked one entry", "an unknown installer; nearest name", "doubtful"
    ),
    Blemish("quotes", "a lost quote is dated 2062-05-14", "a date in the far future", "rejected"),
    Blemish("quotes", "an open quote has the price 'tbd'", "text for money", "rejected"),
    Blemish("quotes", "a quote is won and names no job", "a quote won with no job", "doubtful"),
    Blemish(
        "purchases", "an invoice has a freight row and no other", "no line to go to", "doubtful"
    ),
    Blemish("cuts", "a cut 72 in wide from a 60 in roll", "a cut wider than its roll", "doubtful"),
    Blemish(
        "cuts",
        "a grille surround finished at 83 in for 38",
        "finished larger than its piece",
        "doubtful",
    ),
)
