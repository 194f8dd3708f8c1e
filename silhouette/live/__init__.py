"""The local pages of ``silhouette open``: the whole job in a browser, served by this computer to itself.

Read ``server.py`` for what can be asked of it, ``stage.py`` for how a live turn goes, ``session.py`` for what is
decided.
"""
