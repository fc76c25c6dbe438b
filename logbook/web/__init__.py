"""Web: HTTP, sign-in, forms, view models and redirects.

Opens the transaction, calls one action, renders one page. Writes no row and
decides no stage by itself. The only room that knows Flask.
"""
