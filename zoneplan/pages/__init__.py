"""The app: each page asks, calls one function, and shows.

The pages, as `frame` lists them: `growers`, `start`, `planter`, `field`, `draw`, `rules`, `compare`
and `sheets`. Rooms beside them: `book/` (of the growers' page), `planter_form/`, `edits/` (of the
field's page), `drawing/` and `rulebook/`. `state` is the work of one session and `answers` what
came of it; `door` is the way in from the network, `link` the way back after a reload.
"""
