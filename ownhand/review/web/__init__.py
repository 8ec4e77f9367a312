"""The local web service: addresses, access, server."""
