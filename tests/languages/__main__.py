"""
Bring every catalogue up to the code: new messages come in empty, gone ones go out.

``python -m tests.languages`` for all; ``python -m tests.languages nl`` begins a new one.
"""

import sys

from babel.messages.catalog import Catalog

from tests.languages import names, read, template, write

wanted = template()
for name in {*names(), *sys.argv[1:]}:
    catalogue = read(name) if name in names() else Catalog(locale=name.replace("-", "_"), charset="utf-8")
    catalogue.update(wanted, no_fuzzy_matching=True)
    catalogue.obsolete.clear()
    write(name, catalogue)
    print(name, sum(not message.string for message in catalogue if message.id), "without a translation")
