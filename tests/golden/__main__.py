"""Write what the corpus lacks."""

from quoting.places import packaged
from tests.golden import write_missing

for folder in write_missing(packaged("rate_cards_demo")):
    print(folder.name)
