"""The app: each page asks, calls one function, and shows.

The pages, as `frame` lists them: `growers`, `start`, `planter`, `field`, `draw`, `rules`, `compare`
and `sheets`. Beside them the rooms `book/` (of the growers' page) and `drawing/` (of the page to
draw on), and files that begin with the noun that they are about. `state` is the work of one session
and `answers` what came of it; `door` is the way in from the network, `link` the way back after a
reload.
"""
