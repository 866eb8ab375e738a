"""Cautions: what an answer must warn of, each with a stable code.

Safety texts name the hazard and defer to the dryer's manual, the local code
and qualified people. OSHA 1910.272(p) and NFPA 61 stand behind the fire
cautions in the United States; other countries have their own.
"""

from __future__ import annotations

GAS_FUELS = frozenset({"propane", "natural-gas"})
"""Fuels that burn as gas, for which "gas-fuel" speaks."""

CAUTIONS: dict[str, str] = {
    "fire-column": (
        "Grain that stops moving while the burner runs can scorch and catch fire. If temperature "
        "climbs while discharge has stopped, shut off the burner, keep people clear and follow the "
        "dryer's manual; call the fire service at once if you see or smell smoke."
    ),
    "fire-trash": (
        "Chaff, husks and fines burn. Clean the grain and the dryer as its manual says, and do not "
        "leave a running dryer unwatched."
    ),
    "hot-surfaces": "Ducts, burner and hot grain burn skin. Let parts cool before you reach in.",
    "gas-fuel": (
        "Gas leaks explode. Have a licensed person work on burner and gas train, and never bypass "
        "a flame or temperature safeguard."
    ),
    "carbon-monoxide": (
        "Direct-fired burners make carbon monoxide. Never enter a plenum, bin or enclosure while "
        "the burner or fan runs; ventilate and test the air first."
    ),
    "lock-out": "Lock out and tag every drive and fuel valve before anyone opens or enters the dryer.",
    "entrapment": (
        "Flowing grain buries a person in seconds. Never enter a bin or wet-holding tank while grain "
        "moves; follow the local rules for entry."
    ),
    "follow-manual": (
        "This is a computed starting point. The dryer's manual, its limits and safeguards, and local "
        "codes come first."
    ),
    "temperature-limit": (
        "The air or grain is hotter than a published limit for this grain and use; kernels may "
        "crack, scorch or lose germination, milling or feed value."
    ),
    "stress-cracks": (
        "Fast drying and fast cooling crack kernels; check a sample for stress cracks and breakage."
    ),
    "condensation": (
        "Air this moist condenses on colder grain or steel; watch for wet spots and crusting."
    ),
    "over-drying": "Grain drier than the market wants gives away weight and fuel and breaks more.",
    "under-drying": (
        "Grain wetter than is safe to store heats and moulds; cool it and move or re-dry it soon."
    ),
    "extrapolated": (
        "A published equation was used outside the range it was fitted on; treat the figure as a "
        "guide."
    ),
    "meter-uncertain": (
        "A moisture meter reads hot, cold or unusually wet grain wrongly; check with rested "
        "samples."
    ),
    "storage-watch": (
        "Storage times are for sound grain of even moisture. Damaged, mouldy or unevenly dried "
        "grain spoils sooner: check the bin every week or two and after every warm spell, and "
        "never enter it while grain or fan runs."
    ),
    "fan-entry": (
        "Keep guards on the fan and lock it out before anyone reaches in; do not enter the bin "
        "while grain moves."
    ),
}
