// How the command line says what a message asks for: messages of the library name the thing, this names the
// option.
#pragma once

#include <string>

#include "advice/next.hpp"
#include "advice/plan.hpp"
#include "quote/quote.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/json/reading_file.hpp"

namespace ripplegauge::cli {

/// "Check the board's pitch. Options: --board-pitch." Remedies that no option helps with are left as they
/// are.
std::string remedy_with_options(const Refusal& refusal);

/// What a plan asks for or speaks of, as options and commands; empty where it has no steps.
std::string plan_hints(const Plan& plan, bool full);

/// How to say whether the card was moved, where that would settle it; else empty.
std::string card_hint(const PlaceEvidence& place, const Wording& words = Wording::plain());

/// How to answer what a job asks about spots that may be one; empty where it asks nothing.
std::string question_hint(const std::vector<std::string>& questions, const Wording& words = Wording::plain());

/// How to make the reading that a photo was given for.
std::string reading_hint(const PhotoForReading& error);

/// How to say what a quote could not know; else empty.
std::string quote_hint(const Quote& quote, const Wording& words);

}  // namespace ripplegauge::cli
