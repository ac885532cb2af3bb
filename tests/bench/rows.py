"""Every row of the table, in its order."""

from tests.bench import points, rasters, surveys, zones

ROWS = (*zones.ROWS, *surveys.ROWS, *rasters.ROWS, *points.ROWS)
