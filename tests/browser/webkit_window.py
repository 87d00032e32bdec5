"""A window of WebKitGTK that WebDriver may drive and that keeps what pages store in a folder.

``python webkit_window.py FOLDER``. The library's own MiniBrowser forgets everything at its
end when it is driven, so a killed browser could not be tested with it.
"""

import ctypes
import sys
from ctypes import CFUNCTYPE, c_char_p, c_int, c_void_p

GTK = ctypes.CDLL("libgtk-3.so.0")
OBJECTS = ctypes.CDLL("libgobject-2.0.so.0")
WEB = ctypes.CDLL("libwebkit2gtk-4.1.so.0")
TOPLEVEL = 0

Started = CFUNCTYPE(None, c_void_p, c_void_p, c_void_p)
Wanted = CFUNCTYPE(c_void_p, c_void_p, c_void_p)


def returns(function: object, *arguments: object) -> int:
    """Call a function that returns a pointer; all pointers are handed on whole."""
    function.restype = c_void_p
    return function(*(c_void_p(one) if isinstance(one, int) else one for one in arguments))


def connect(instance: int, signal: bytes, handler: object) -> None:
    OBJECTS.g_signal_connect_data(c_void_p(instance), signal, handler, None, None, c_int(0))


def context_in(folder: bytes) -> int:
    manager = returns(
        WEB.webkit_website_data_manager_new,
        c_char_p(b"base-data-directory"),
        c_char_p(folder + b"/data"),
        c_char_p(b"base-cache-directory"),
        c_char_p(folder + b"/cache"),
        c_void_p(None),
    )
    context = returns(WEB.webkit_web_context_new_with_website_data_manager, manager)
    WEB.webkit_web_context_set_automation_allowed(c_void_p(context), c_int(1))
    return context


def view_of(context: int) -> int:
    """A new window with one page."""
    kind = ctypes.c_size_t(returns(WEB.webkit_web_view_get_type))
    view = returns(
        OBJECTS.g_object_new,
        kind,
        c_char_p(b"web-context"),
        c_void_p(context),
        c_char_p(b"is-controlled-by-automation"),
        c_int(1),
        c_void_p(None),
    )
    window = returns(GTK.gtk_window_new, c_int(TOPLEVEL))
    GTK.gtk_window_set_default_size(c_void_p(window), c_int(1180), c_int(820))
    GTK.gtk_container_add(c_void_p(window), c_void_p(view))
    GTK.gtk_widget_show_all(c_void_p(window))
    return view


def main() -> None:
    GTK.gtk_init(None, None)
    context = context_in(sys.argv[1].encode())
    wanted = Wanted(lambda _session, _data: view_of(context))
    started = Started(lambda _context, session, _data: connect(session, b"create-web-view", wanted))
    connect(context, b"automation-started", started)
    GTK.gtk_main()


if __name__ == "__main__":
    main()
