"""Validates MusicXML files against the MusicXML 4.0 schema (W3C Community Group).

    python tests/validate_musicxml.py FILE...

The schema is not part of this repository. It is looked for in the environment variable
MUSICXML_XSD, then in the installed package `musicxml`, which carries it. Needs `lxml`.
Exit code: 0 all valid, 1 some are not, 2 schema or lxml not found.
"""

import glob
import importlib.util
import os
import re
import sys
import tempfile

# The attributes that MusicXML's schema takes from the two it imports.
IMPORTED = {
    "xml.xsd": """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
        targetNamespace="http://www.w3.org/XML/1998/namespace">
        <xs:attribute name="lang" type="xs:language"/>
        <xs:attribute name="space" type="xs:NCName"/></xs:schema>""",
    "xlink.xsd": """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
        targetNamespace="http://www.w3.org/1999/xlink">
        <xs:attribute name="href" type="xs:anyURI"/>
        <xs:attribute name="type" type="xs:string" fixed="simple"/>
        <xs:attribute name="role" type="xs:token"/>
        <xs:attribute name="title" type="xs:token"/>
        <xs:attribute name="show" type="xs:NMTOKEN"/>
        <xs:attribute name="actuate" type="xs:NMTOKEN"/></xs:schema>""",
}


def schema_path():
    stated = os.environ.get("MUSICXML_XSD")
    if stated:
        return stated
    found = importlib.util.find_spec("musicxml")
    for place in (found.submodule_search_locations or []) if found else []:
        for path in glob.glob(os.path.join(place, "**", "musicxml_4_0.xsd"), recursive=True):
            return path
    return None


def main(files):
    path = schema_path()
    try:
        from lxml import etree
    except ImportError:
        print("lxml is not installed: pip install lxml", file=sys.stderr)
        return 2
    if path is None or not os.path.exists(path):
        print(
            "musicxml_4_0.xsd not found: pip install musicxml, or set MUSICXML_XSD",
            file=sys.stderr,
        )
        return 2

    with open(path, encoding="utf-8") as file:
        text = file.read()
    with tempfile.TemporaryDirectory() as place:
        # The schema imports two others by web address: nothing is fetched, what it needs of them
        # is written beside it.
        for name, content in IMPORTED.items():
            text = re.sub(r'schemaLocation="[^"]*/%s"' % re.escape(name), f'schemaLocation="{name}"', text)
            with open(os.path.join(place, name), "w", encoding="utf-8") as file:
                file.write(content)
        local = os.path.join(place, "musicxml.xsd")
        with open(local, "w", encoding="utf-8") as file:
            file.write(text)
        schema = etree.XMLSchema(etree.parse(local, etree.XMLParser(no_network=True)))
    invalid = 0
    for name in files:
        try:
            document = etree.parse(name, etree.XMLParser(no_network=True, load_dtd=False))
        except etree.XMLSyntaxError as error:
            invalid += 1
            print(f"{name}: not well-formed: {error}")
            continue
        if not schema.validate(document):
            invalid += 1
            for error in list(schema.error_log)[:5]:
                print(f"{name}:{error.line}: {error.message}")
    print(f"{len(files)} files, {invalid} invalid")
    return 1 if invalid else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
