"""What to mind where the work, or what is made of these figures, can hurt someone."""

from typing import Final

# Common practice in the trade, no source; the law of the place and licensed practice go before.
CAUTIONS: Final = (
    (
        "Blades",
        "Cut away from yourself and never towards another person; on a vehicle, use film-cutting "
        "tape or a knife made for film, for a blade that goes through film goes through paint.",
    ),
    (
        "Heat",
        "Heat guns and lamps burn skin, paint, trim and seals. Keep within the film maker's "
        "temperatures, measure, and keep solvents away from the heat.",
    ),
    (
        "Air bags and sensors",
        "Behind trim, pillars, seats, bumpers and windscreens there may be air bags, belt "
        "tensioners, cameras and radar. Follow the vehicle maker's instructions for disconnecting "
        "and for setting sensors up again, or leave it to a licensed workshop.",
    ),
    (
        "Solvents",
        "Read the safety data sheet, ventilate, wear the gloves it names, and store and dispose of "
        "waste as your local rules say.",
    ),
    (
        "Lifting",
        "Rolls, hoods and doors are heavy and awkward: two people or a lift.",
    ),
    (
        "Window film",
        "How dark a window may be, and where film may be laid at all, is law and differs from "
        "place to place.",
    ),
    (
        "Hours and haste",
        "Hours quoted are no reason to work faster than is safe. Price the time that safe work "
        "takes.",
    ),
    (
        "Prices",
        "Set your prices by yourself: agreeing on them with other shops is against competition law "
        "in most places, and rules on showing prices, card surcharges and sales tax differ. Ask a "
        "licensed adviser where you are not sure.",
    ),
    (
        "Tax and employment",
        "Tax, wages, overtime, tips and notice are governed by law. These figures are no tax or "
        "legal advice; ask a licensed adviser before acting on them.",
    ),
)
DEFER: Final = (
    "Local codes, the makers' instructions and licensed practice go before anything on this page."
)
STAFF_CAUTION: Final = (
    "For scheduling and training. Who gets the hard vehicles, who trains others and who mends what "
    "went wrong also shows in these hours. Employment law and what lies behind the figures govern "
    "any decision about staff; take advice before you take one."
)
MONEY_CAUTION: Final = (
    "The result is what these records leave, and no profit by the books or for the tax office. "
    "Interest, depreciation and the owner's pay are in it only as far as overheads hold "
    "them, and wages only for hours that were written down: an owner whose pay is an overhead and "
    "who writes hours down too counts twice. Ask a licensed adviser."
)
PRICE_CAUTION: Final = (
    "These are estimates from your own records, not a promise of what customers do. Decide by "
    "yourself, never together with other shops: that is against competition law in most places."
)
