"""Parses pages as a browser does (WHATWG HTML) with html5lib: the first parse errors of each are told, exit code 1.

    python3 html5_check.py page.html ...
"""
import sys

import html5lib

failed = 0
for name in sys.argv[1:]:
    parser = html5lib.HTMLParser()
    with open(name, "rb") as page:
        parser.parse(page)
    for (line, column), code, values in parser.errors[:5]:
        print(f"{name}:{line}:{column}: {code} {values}")
    failed += bool(parser.errors)
print(f"{len(sys.argv) - 1} pages parsed, {failed} with errors")
sys.exit(1 if failed else 0)
