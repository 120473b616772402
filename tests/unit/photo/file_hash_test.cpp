#include "photo/file_hash.hpp"

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;

// The example messages of FIPS 180-4's companion page at NIST (from memory; sha256sum of GNU coreutils
// agrees).
TEST_CASE("SHA-256 of the published example messages", "[file_hash]") {
  CHECK(sha256_of_bytes("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(sha256_of_bytes("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq") ==
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  CHECK(sha256_of_bytes("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

TEST_CASE("SHA-256 of a file longer than one piece", "[file_hash]") {
  const ScratchFolder folder;
  const auto file = folder.write("million.bin", std::string(1'000'000, 'a'));
  CHECK(sha256_of_file(file) == "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
  CHECK_THROWS_AS(sha256_of_file(folder / "missing"), FileError);
  CHECK_THROWS_AS(sha256_of_file(folder.path()), FileError);
}
