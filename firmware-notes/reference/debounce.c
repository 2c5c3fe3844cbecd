#include "debounce.h"

bool debounce_pressed(struct debounce *button, bool looks_down)
{
    if (looks_down == button->down) {
        button->agreed = 0;
        return false;
    }
    button->agreed++;
    if (button->agreed < DEBOUNCE_LOOKS) {
        return false;
    }
    button->agreed = 0;
    button->down = looks_down;
    return looks_down;
}
