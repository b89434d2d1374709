// Feet that whirl round as they land or leave.
#pragma once

#include "core/contact/contacts.h"

namespace understudy {

/// Takes off the ends of a foot's spans those frames in which it turns about the vertical faster than `settings.whirl`, and spans of which
/// too little is left: what turns so fast does not stand, and held to the ground it would have to catch up in a frame or two.
void trimWhirls(FootContact& foot, double rate, const ContactSettings& settings);

}  // namespace understudy
