# Flags travel by target; CMAKE_CXX_FLAGS is left to the presets.
add_library(shaftlog_options INTERFACE)
target_compile_features(shaftlog_options INTERFACE cxx_std_20)
target_compile_options(shaftlog_options INTERFACE
  -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wold-style-cast -Wnon-virtual-dtor
  -Woverloaded-virtual $<$<BOOL:${SHAFTLOG_WERROR}>:-Werror>)
# Optimised, gcc 12 warns of the insides of std::string and std::optional; clang and the sanitizers find nothing there.
if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU" AND CMAKE_CXX_COMPILER_VERSION VERSION_LESS 13)
  target_compile_options(shaftlog_options INTERFACE
    "$<$<CONFIG:Release>:-Wno-restrict;-Wno-array-bounds;-Wno-stringop-overflow;-Wno-stringop-overread;-Wno-maybe-uninitialized>")
endif()

# What nearly every source includes is read once. Each file still includes what it needs: the preset `dev` builds without.
set(SHAFTLOG_COMMON_HEADERS <algorithm> <array> <chrono> <cmath> <cstdint> <filesystem> <functional> <map> <memory>
  <optional> <span> <string> <string_view> <unordered_map> <utility> <vector> <fmt/format.h>)

# With sanitizers the layers that do the computing are optimised and the others are not: those are the longer to compile.
set(SHAFTLOG_HOT_FLAGS "" CACHE STRING "Flags for the layers marked HOT, after all others")

# shaftlog_layer(storage HOT SOURCES ... USES shaftlog::domain PRIVATE_USES SQLiteCpp)
function(shaftlog_layer name)
  cmake_parse_arguments(PARSE_ARGV 1 arg "HOT" "" "SOURCES;USES;PRIVATE_USES")
  add_library(shaftlog_${name} STATIC ${arg_SOURCES})
  add_library(shaftlog::${name} ALIAS shaftlog_${name})
  target_include_directories(shaftlog_${name} PUBLIC ${PROJECT_SOURCE_DIR}/src)
  target_link_libraries(shaftlog_${name} PUBLIC shaftlog_options ${arg_USES} PRIVATE ${arg_PRIVATE_USES})
  if(arg_HOT AND SHAFTLOG_HOT_FLAGS)
    target_compile_options(shaftlog_${name} PRIVATE ${SHAFTLOG_HOT_FLAGS})
    target_precompile_headers(shaftlog_${name} REUSE_FROM shaftlog_common_hot)
  else()
    target_precompile_headers(shaftlog_${name} REUSE_FROM shaftlog_common)
  endif()
endfunction()

# shaftlog_embed(target folder pattern function): the texts of folder/pattern, sorted by name, as
# `std::span<const shaftlog::EmbeddedFile> function()` (base/embedded.hpp). Raw strings: no file may hold )~embedded~".
function(shaftlog_embed target folder pattern function)
  file(GLOB files CONFIGURE_DEPENDS ${PROJECT_SOURCE_DIR}/${folder}/${pattern})
  list(SORT files)
  set(EMBED_ROWS "")
  foreach(file IN LISTS files)
    cmake_path(GET file FILENAME name)
    file(READ ${file} text)
    string(LENGTH "${text}" length)
    set(pieces "")
    set(at 0)
    # A string literal may be at most 65,536 characters long (C++ [implimits]); longer texts are joined from pieces.
    while(at LESS length)
      string(SUBSTRING "${text}" ${at} 16000 piece)
      string(APPEND pieces "\nR\"~embedded~(${piece})~embedded~\"")
      math(EXPR at "${at} + 16000")
    endwhile()
    if(pieces STREQUAL "")
      set(pieces "\"\"")
    endif()
    # sv: the literal's own length; a string_view made from a pointer would be counted at compile time, up to 262,144 steps.
    string(APPEND EMBED_ROWS "    {\"${name}\", ${pieces}sv},\n")
  endforeach()
  set_property(DIRECTORY APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${files})
  set(EMBED_FUNCTION ${function})
  configure_file(${PROJECT_SOURCE_DIR}/src/cmake/embedded.cpp.in ${CMAKE_CURRENT_BINARY_DIR}/${function}.cpp @ONLY)
  target_sources(${target} PRIVATE ${CMAKE_CURRENT_BINARY_DIR}/${function}.cpp)
  set_source_files_properties(${CMAKE_CURRENT_BINARY_DIR}/${function}.cpp PROPERTIES COMPILE_OPTIONS -Wno-overlength-strings)
endfunction()
