"""The local web pages: a door like the command line. It knows people, forms and links, and no formula.

In: a trial folder and what a browser sends. Out: pages whose every number comes from the flow or the store. The words
of the pages stand in ``templates/``.
"""
