"""What schemathesis cannot know: how the bodies that are no JSON are written down."""

import json

import schemathesis


@schemathesis.serializer("application/x-ndjson", "text/csv")
def lines(context, value):
    return value.encode() if isinstance(value, str) else json.dumps(value).encode()
