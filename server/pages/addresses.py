"""Numbers in addresses: what is longer than any number of the record is at no address.

Imported by `house`, so that it holds before the first route is written.
"""

from starlette.convertors import IntegerConvertor, register_url_convertor


class ShortNumber(IntegerConvertor):
    """At most nine digits: every such number fits the columns of both kinds of database."""

    regex = "[0-9]{1,9}"


register_url_convertor("int", ShortNumber())
