// Clips that walk or run in place have feet that slide over the ground instead of standing on it. Internal to contacts.
#pragma once

#include "core/contact/contacts.h"

namespace understudy {

/// Takes back all contacts where feet hardly ever rest in them and slide faster than the body travels, and notes it in `inPlace`.
void dropInPlace(Contacts& contacts, const ContactSettings& settings);

}  // namespace understudy
