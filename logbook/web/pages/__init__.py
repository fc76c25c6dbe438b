"""Pages: one module for each part of the shop, each with a blueprint called ``pages``; the app takes every one."""
