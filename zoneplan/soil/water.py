"""How much water a soil holds; dry, moist and wet as zoneplan means them."""

WETNESSES = ("dry", "moist", "wet")
