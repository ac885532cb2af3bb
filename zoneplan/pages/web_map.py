"""The pictures from the internet that may lie below a map, where a person turns them on."""

HELP = (
    "Off, nothing leaves this machine. On, your browser asks OpenStreetMap's server on the "
    "internet for pictures of this place, so that server learns which place it is. Where it "
    "cannot be reached, the map stays paper."
)
TILES = "https://tile.openstreetmap.org/{z}/{x}/{y}.png"
CREDIT = '&copy; <a href="https://www.openstreetmap.org/copyright">OpenStreetMap</a> contributors'
FINEST = 19  # zoom of the finest pictures there are; beyond it they are enlarged
