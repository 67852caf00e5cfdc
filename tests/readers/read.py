# Reads labels for tests/readers.rs: a question a line, an answer a line, both JSON. Knows nothing of what it should find.
import base64
import io
import json
import sys

import numpy
import zxingcpp
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from PIL import Image
from pyzbar import pyzbar

# QRCode alone would be a family, with Micro QR and rMQR in it.
FORMATS = [zxingcpp.BarcodeFormat.QRCodeModel2, zxingcpp.BarcodeFormat.EAN13]
SYMBOLS = [pyzbar.ZBarSymbol.QRCODE, pyzbar.ZBarSymbol.EAN13]


def picture_of(question):
    return Image.open(io.BytesIO(base64.b64decode(question["png"]))).convert("L")


def by_zxing(picture):
    """All codes: identifier, level, text as encoded (the default text is rewritten for human eyes)."""
    dots = numpy.ascontiguousarray(picture)
    found = zxingcpp.read_barcodes(dots, formats=FORMATS, text_mode=zxingcpp.TextMode.Plain)
    return [[code.symbology_identifier, code.ec_level, code.text] for code in found]


def by_zbar(picture):
    """All codes: kind, text."""
    return [[code.type, code.data.decode()] for code in pyzbar.decode(picture, symbols=SYMBOLS)]


def by_biip(text):
    """The elements of an address: identifier, value, number, date. BIIP only notes a wrong check digit; here it is an error."""
    elements = []
    try:
        for element in GS1DigitalLinkURI.parse(text).element_strings:
            if element.gtin_error:
                raise ValueError(element.gtin_error)
            number = None if element.decimal is None else format(element.decimal, "f")
            date = None if element.date is None else element.date.isoformat()
            elements.append([element.ai.ai, element.value, number, date])
    except Exception as error:
        return {"error": str(error)[:200]}
    return elements


def read(question):
    picture = picture_of(question)
    found = by_zxing(picture)
    address = next((text for _, _, text in found if "://" in text), "")
    return {"zxing": found, "zbar": by_zbar(picture), "biip": by_biip(address)}


def answer_all(answer):
    for line in sys.stdin:
        print(json.dumps(answer(json.loads(line))), flush=True)
