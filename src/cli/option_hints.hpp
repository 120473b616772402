// How the command line says what a message asks for: messages of the library name the thing, this names the
// option.
#pragma once

#include <string>

#include "ripplegauge/advice/next.hpp"
#include "ripplegauge/advice/plan.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/quote/quote.hpp"

namespace ripplegauge::cli {

/// "Check the board's pitch. Options: --board-pitch." Remedies that no option helps with are left as they
/// are.
std::string remedy_with_options(const Refusal& refusal);

/// What a plan asks for or speaks of, as options and commands; empty where it has no steps.
std::string plan_hints(const Plan& plan);

/// How to say whether the card was moved, where an advice hangs on it; else empty.
std::string card_hint(const NextStep& next);

/// How to say what a quote could not know; else empty.
std::string quote_hint(const Quote& quote);

}  // namespace ripplegauge::cli
