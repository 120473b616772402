// libFuzzer's way in. RIPPLEGAUGE_FUZZ_TARGET names the target; run.sh runs them all.
#include <cstdint>
#include <cstdio>
#include <cstdlib>

#include "targets.hpp"

namespace {

const ripplegauge::fuzz::Target& chosen() {
  const char* name = std::getenv("RIPPLEGAUGE_FUZZ_TARGET");
  const auto found = ripplegauge::fuzz::targets().find(name != nullptr ? name : "");
  if (found == ripplegauge::fuzz::targets().end()) {
    std::fputs("set RIPPLEGAUGE_FUZZ_TARGET to one of:\n", stderr);
    for (const auto& [known, target] : ripplegauge::fuzz::targets())
      std::fprintf(stderr, "%s\n", known.c_str());
    std::exit(2);
  }
  return found->second;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const ripplegauge::fuzz::Target& target = chosen();
  target({reinterpret_cast<const char*>(data), size});
  return 0;
}
