"""What somebody who fits film by themselves has to mind: printed on the sheet of every kit.

Common practice in the trade, no source; the film maker's instructions, the law of the place and
licensed practice go before. Which film is a tint cannot be told from its name, so what the law says
about windows stands on every sheet.
"""

from typing import Final

KIT_CAUTIONS: Final = (
    (
        "Blades",
        "A blade that goes through film goes through paint, glass, rubber and wires. Cut on a "
        "backing, or on the vehicle with film-cutting tape; never towards your hand.",
    ),
    (
        "Heat",
        "Heat guns burn skin, spoil overheated film, soften plastic parts and crack glass. Keep "
        "moving, measure, and stay within the film maker's temperatures.",
    ),
    (
        "Air bags, belts, sensors",
        "They sit behind trim, pillars, seats, bumpers and glass. Near them take no trim off and "
        "disconnect nothing without the vehicle maker's instructions and licensed practice.",
    ),
    (
        "Where no film goes",
        "Over cameras, radar, other sensors, lights, number plates, air bag covers, and wherever "
        "the vehicle maker forbids it.",
    ),
    (
        "Solvents and cleaners",
        "Read the label. Gloves, fresh air, no flame or spark, nothing hot near by. Try them first "
        "where it does not show.",
    ),
    (
        "Height and lifting",
        "Stand on a firm step, never on the vehicle. A roof or a large piece wants a helper.",
    ),
    (
        "Place, weather, paint",
        "Work out of sun, wind, rain and dust, at the film maker's temperature, on clean, sound "
        "paint. No film on fresh or newly mended paint until its maker allows it. Let the film "
        "cure as its maker says before you wash.",
    ),
    (
        "Windows and lamps",
        "How dark a windscreen or a front side window may be, and whether a lamp may be coloured, "
        "is law and differs from place to place. Ask before you fit.",
    ),
    (
        "Warranty, insurance, lease",
        "Film that you fit can touch the warranty of the vehicle and of the film, your insurance "
        "and a lease. Ask each of them first.",
    ),
)
KIT_DEFER: Final = (
    "Common practice in the trade; the film maker's instructions and local rules come first. Local "
    "codes and licensed practice go before anything on this sheet."
)
