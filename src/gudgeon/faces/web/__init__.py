"""The page: a server on this computer that shows one cell in a browser; computes nothing itself.

Imported only by ``gudgeon show``; what it needs is the extra ``web``.

`wire` is everything that goes over the wire, as types; `guard` stands before every request; `shop`
knows the files; `desk` hands the work to `worker` processes and keeps the answers; `routes` and
`server` join them.
"""
