// The page's server, asked as no browser would ask it.
#include <arpa/inet.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstring>
#include <filesystem>
#include <string>
#include <thread>
#include <vector>

#include "catch.hpp"
#include "run_program.hpp"

using Catch::Matchers::ContainsSubstring;

namespace {

/// `ripplegauge page` on a port of its own, for as long as this lives.
class Server {
 public:
  explicit Server(const std::string& folder, const std::vector<std::string>& more = {}) {
    int ends[2];
    REQUIRE(::pipe(ends) == 0);
    std::vector<std::string> arguments = {RIPPLEGAUGE_PROGRAM, "page", "--folder", folder, "--port", "0"};
    arguments.insert(arguments.end(), more.begin(), more.end());
    child_ = ::fork();
    if (child_ == 0) {
      ::dup2(ends[1], STDOUT_FILENO);
      ::close(ends[0]);
      std::vector<char*> words;
      for (std::string& argument : arguments) words.push_back(argument.data());
      words.push_back(nullptr);
      ::execv(RIPPLEGAUGE_PROGRAM, words.data());
      ::_exit(127);
    }
    ::close(ends[1]);
    read_until_ready(ends[0]);
    ::close(ends[0]);
  }
  Server(const Server&) = delete;
  Server& operator=(const Server&) = delete;
  ~Server() {
    ::kill(child_, SIGKILL);
    ::waitpid(child_, nullptr, 0);
  }

  int port() const { return port_; }
  const std::string& said() const { return said_; }

  /// Sends these bytes; all that comes back until the server closes.
  std::string raw(const std::string& bytes) const {
    const int connection = connected();
    std::string answer;
    char part[4096];
    if (::send(connection, bytes.data(), bytes.size(), MSG_NOSIGNAL) >= 0)
      for (ssize_t got; (got = ::recv(connection, part, sizeof part, 0)) > 0;)
        answer.append(part, static_cast<std::size_t>(got));
    ::close(connection);
    return answer;
  }

  std::string ask(const std::string& method, const std::string& target, const std::string& host = "localhost",
                  const std::string& more = "") const {
    return raw(method + " " + target + " HTTP/1.1\r\nHost: " + host + "\r\nConnection: close\r\n" + more +
               "\r\n");
  }

  int connected() const {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(static_cast<std::uint16_t>(port_));
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    const int connection = ::socket(AF_INET, SOCK_STREAM, 0);
    REQUIRE(::connect(connection, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0);
    return connection;
  }

 private:
  void read_until_ready(int from) {
    char part[512];
    while (said_.find("Ctrl-C") == std::string::npos) {
      const ssize_t got = ::read(from, part, sizeof part);
      REQUIRE(got > 0);
      said_.append(part, static_cast<std::size_t>(got));
    }
    const std::string before = "http://localhost:";
    port_ = std::stoi(said_.substr(said_.find(before) + before.size()));
  }

  pid_t child_ = -1;
  int port_ = 0;
  std::string said_;
};

int status(const std::string& answer) {
  return answer.starts_with("HTTP/1.1 ") ? std::stoi(answer.substr(9, 3)) : 0;
}

std::string body(const std::string& answer) { return answer.substr(answer.find("\r\n\r\n") + 4); }

/// A page as small as one can be, beside a file that is nobody's business.
struct BuiltPage {
  BuiltPage() {
    std::filesystem::create_directory(scratch.file("site"));
    scratch.write("site/index.html", "<!doctype html><title>a page</title>");
    scratch.write("site/core.wasm", std::string("\0asm", 4));
    scratch.write("site/notes.txt", "private notes");
    scratch.write("secret.json", "{}");
    std::filesystem::create_symlink(scratch.file("secret.json"), scratch.file("site/link.json"));
  }
  std::string folder() const { return scratch.file("site"); }
  TemporaryFolder scratch;
};

}  // namespace

TEST_CASE("the page's server gives out the page's files, with types and guards", "[cli][page]") {
  const BuiltPage page;
  const Server server(page.folder());
  const std::string start = server.ask("GET", "/");
  CHECK(status(start) == 200);
  CHECK(body(start) == "<!doctype html><title>a page</title>");
  CHECK_THAT(start, ContainsSubstring("Content-Type: text/html; charset=utf-8"));
  CHECK_THAT(start, ContainsSubstring("X-Content-Type-Options: nosniff"));
  CHECK_THAT(start, ContainsSubstring("frame-ancestors 'none'"));
  CHECK_THAT(server.ask("GET", "/core.wasm"), ContainsSubstring("Content-Type: application/wasm"));
  const std::string head = server.ask("HEAD", "/index.html");
  CHECK(status(head) == 200);
  CHECK(body(head).empty());
}

TEST_CASE("the page's server answers no other method, file or name", "[cli][page]") {
  const BuiltPage page;
  const Server server(page.folder());
  for (const char* method : {"POST", "PUT", "DELETE", "PATCH", "OPTIONS"}) {
    INFO(method);
    CHECK(status(server.ask(method, "/")) == 405);
  }
  for (const char* target :
       {"/../secret.json", "/%2e%2e/secret.json", "/..%2fsecret.json", "//secret.json", "/link.json",
        "/notes.txt", "/etc/passwd", "/index.html/", "/\\..\\secret.json", "/site/index.html"}) {
    INFO(target);
    const int got = status(server.ask("GET", target));
    CHECK((got == 400 || got == 404));
  }
  for (const char* host : {"gauge.example", "gauge.example:80", "localhost.gauge.example", "10.0.0.7", ""}) {
    INFO(host);
    CHECK(status(server.ask("GET", "/", host)) == 421);
  }
  for (const char* host : {"LOCALHOST", "127.0.0.1:8017", "[::1]:8017"}) {
    INFO(host);
    CHECK(status(server.ask("GET", "/", host)) == 200);
  }
}

TEST_CASE("the page's server ends requests that are large, broken or never finished", "[cli][page]") {
  const BuiltPage page;
  const Server server(page.folder());
  const int long_target = status(server.ask("GET", "/" + std::string(20000, 'a')));
  CHECK((long_target == 400 || long_target == 414));
  CHECK(status(server.ask("GET", "/", "localhost", "X: " + std::string(20000, 'b') + "\r\n")) != 200);
  CHECK(status(server.ask("POST", "/", "localhost", "Content-Length: 999999999\r\n")) != 200);
  CHECK(status(server.raw(std::string("\0\xff\xfe\r\n\r\n", 7))) != 200);
  // As many as it has workers hang on with half a request: they are let go, and others are served.
  std::vector<int> hanging;
  for (int i = 0; i < 16; ++i) {
    hanging.push_back(server.connected());
    CHECK(::send(hanging.back(), "GET / HT", 8, MSG_NOSIGNAL) == 8);
  }
  CHECK(status(server.ask("GET", "/")) == 200);
  for (const int connection : hanging) ::close(connection);
}

TEST_CASE("on the LAN the page's server is called by address, and says so with a code", "[cli][page]") {
  const BuiltPage page;
  const Server server(page.folder(), {"--lan"});
  CHECK(status(server.ask("GET", "/", "192.168.1.5:8017")) == 200);
  CHECK(status(server.ask("GET", "/", "gauge.example")) == 421);
  CHECK_THAT(server.said(), ContainsSubstring("network"));
}

TEST_CASE("a folder without the page is not served", "[cli][page]") {
  const TemporaryFolder empty;
  const ProgramRun run = run_program({"page", "--folder", empty.path().string(), "--port", "0"});
  CHECK(run.exit_code != 0);
  CHECK_THAT(run.err, ContainsSubstring("src/page/build.sh"));
}
