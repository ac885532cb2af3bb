"""Every row of the table, in its order."""

from tests.bench import app, files, many, points, rasters, surveys, zones

ROWS = (*zones.ROWS, *files.ROWS, *surveys.ROWS, *rasters.ROWS, *points.ROWS, *many.ROWS, *app.ROWS)
