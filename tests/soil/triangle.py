"""Every texture there is, to half a per cent of sand and clay, and which are neighbours."""

STEPS = 200  # half a per cent
POINTS = [
    (sand / STEPS, clay / STEPS) for sand in range(STEPS + 1) for clay in range(STEPS + 1 - sand)
]
INDEX = {(round(sand * STEPS), round(clay * STEPS)): at for at, (sand, clay) in enumerate(POINTS)}


def neighbours(*directions):
    """Pairs of points one step apart: (1, 0) more sand, (0, 1) more clay, (1, -1) both."""
    return [
        (at, INDEX[sand + more_sand, clay + more_clay])
        for (sand, clay), at in INDEX.items()
        for more_sand, more_clay in directions
        if (sand + more_sand, clay + more_clay) in INDEX
    ]


MORE_CLAY = neighbours((0, 1))  # at the same sand
ANY_STEP = neighbours((1, 0), (0, 1), (1, -1))
