#include "cli/program.hpp"

int main(int argc, char** argv) {
  return shaftlog::run_program(std::vector<std::string>{argv + (argc > 0 ? 1 : 0), argv + argc});
}
